"""Batches: the same numbers as single estimates, whatever the chunks and the executor; files that survive."""

import dataclasses
import multiprocessing
import os
import pickle
import signal
import subprocess
import sys
import textwrap
import threading
import time
import weakref
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest
from checks import refuses
from regression.cases import cases

import forgeprops as fp
from forgeprops.inputs.cases import Cases
from forgeprops.io.writing import locked
from forgeprops.study.process import many
from forgeprops.study.process.many import compute, table_columns

TEXTS = ("hosel_governed_by", "warnings", "error", "steel", "head")
NUMBERS = [name for name in table_columns() if name not in ("case", *TEXTS)]


def same(a, b, rel=1e-9):
    assert list(a.columns) == list(b.columns) and len(a) == len(b)
    for name in NUMBERS:
        x, y = (table[name].to_numpy(float) for table in (a, b))
        np.testing.assert_allclose(x, y, rtol=rel, err_msg=name)
    for name in TEXTS:
        # a CSV knows neither empty text nor that "4130" is a name
        texts = [["" if v != v else str(v) for v in table[name]] for table in (a, b)]
        assert texts[0] == texts[1], name


def routes_of(n):
    return [{"preheat_c": 820.0 + 0.5 * i} for i in range(n)]


@pytest.fixture(scope="module")
def batch():
    """What it gives is what single estimates give: tests/regression."""
    inputs = [list(column) for column in list(zip(*cases("single", 20), strict=True))[:4]]
    return inputs, fp.estimate_many(*inputs)


def test_idle_water_is_told_in_a_batch_and_left_out_in_a_quick_one():
    """Too brief, too little for a plain steel, idle on one that hardens in air, or none; silent where it works."""
    given = [("4130", {"spray_s": 3.0}), ("1020", {"flux": 3.0}), ("4340", {"preheat_c": 1150.0, "spray_s": 4.0}), ("4130", {}),
             ("4130", {"spray_s": 5.0}), ("4130", {"preheat_c": 700.0}), ("4130", {"flux": 0.0}), ("1045", {}), ("4130", {"spray": None})]  # fmt: skip
    steels, routes = zip(*given, strict=True)
    table = fp.estimate_many(list(steels), routes=list(routes))
    idle = ["idle-water" in words.split("; ") for words in table["warnings"]]
    assert idle == [True] * 3 + [False] * 6
    quick = fp.estimate_many(list(steels), routes=list(routes), quick=True)
    assert list(quick.columns) == table_columns(quick=True)
    for full, less in zip(table["warnings"], quick["warnings"], strict=True):
        assert [w for w in full.split("; ") if w not in ("idle-water", "cliff")] == less.split("; ")


def test_order_and_inputs_are_kept_and_tasks_pickle(batch):
    (steels, heads, routes, _), table = batch
    assert table["case"].tolist() == list(range(20))
    assert table["steel"].tolist() == [s.name for s in steels]
    assert table["head"].tolist() == [h.name for h in heads]
    assert table["preheat_c"].tolist() == [r.preheat_c for r in routes]
    columns = Cases.of(*batch[0])
    (a, _), (b, _) = (compute(c, False) for c in (columns, pickle.loads(pickle.dumps(columns))))
    assert all(np.array_equal(a[name], b[name]) for name in a)


def test_independent_of_chunks_threads_and_processes(batch):
    inputs, table = batch
    with ThreadPoolExecutor(3) as pool:
        for chunk, executor in ((1, None), (7, None), (64, pool)):
            same(fp.estimate_many(*inputs, chunk=chunk, executor=executor), table)
    # one at a time, without any batch around it
    one_by_one = [compute(Cases.of(*([part[i]] for part in inputs)), False)[0] for i in range(20)]
    alone = [float(r["face_hardness_hv"][0]) for r in one_by_one]
    assert alone == pytest.approx(table["face_hardness_hv"].tolist(), rel=1e-9)
    for how in ("fork", "spawn"):
        with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context(how)) as pool:
            same(fp.estimate_many(*inputs, executor=pool), table)


def test_cluster_of_dask(batch):
    distributed = pytest.importorskip("distributed")
    inputs, table = batch
    size = {"n_workers": 1, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.LocalCluster(**size) as cluster, distributed.Client(cluster) as client:
        same(fp.estimate_many(*inputs, executor=client.get_executor()), table)


def test_singles_serve_all_and_what_cannot_be_paired_is_refused(tmp_path):
    table = fp.estimate_many("4130", routes=[{"preheat_c": 880}, fp.Route(), {"spray": None}])
    assert len(table) == 3 and table["error"].eq("").all() and set(table["head"]) == {"mid-iron"}
    assert len(fp.estimate_many("1020")) == 1
    heads = fp.estimate_many("1020", [{"head": "wedge", "face_thickness_mm": 3.0}, "wedge"])
    assert heads["face_margin"].iloc[0] != heads["face_margin"].iloc[1]
    refuses("in length: 3 steels, 2 heads", fp.estimate_many, ["4130"] * 3, ["wedge"] * 2)
    words = "(?i)heads end after 2 cases but steels go on"
    refuses(words, fp.estimate_many, iter(["4130"] * 3), iter(["wedge"] * 2))
    refuses("no case at all", fp.estimate_many, [], to=tmp_path / "none")
    assert not (tmp_path / "none").exists()


def test_a_bad_case_and_an_object_that_raises_anything_cost_their_row():
    steels = ["4130", 7, "no grade", {"Mn": 0.5}, "4130", "4130", {"C": 0.3, "Xx": 1}, None]
    routes = [fp.Route(), None, None, None, {"flux": -3}, {"later": 1}, None, None]
    shops = [None, None, None, None, None, None, None, {"spray": 99}]
    table = fp.estimate_many(steels, None, routes, shops)
    assert len(table) == 8
    assert table["error"].iloc[0] == "" and np.isfinite(table["face_hardness_hv"].iloc[0])
    assert (table["error"].iloc[1:] != "").all() and table["face_hardness_hv"].iloc[1:].isna().all()
    every = "got 7|'no grade'|carbon is missing|Spray rate -3 |later|Xx|".split("|")
    for i, words in enumerate(every, 1):
        assert words in table["error"].iloc[i]
    assert table["steel"].iloc[4] == "4130"  # what could be made is told

    class Hostile(dict):
        def items(self):
            raise RecursionError("never ends")

        keys = __iter__ = __contains__ = __getitem__ = items

    table = fp.estimate_many(["4130", Hostile(C=0.3), "1020"], routes=[None, None, Hostile(a=1)])
    assert table["error"].ne("").tolist() == [False, True, True]


@pytest.mark.parametrize("case", [
    (5,), (None,), ("no grade",), (b"4130",), (["4130"],), ({"Mn": 0.5},), ({"C": 0.3, "Xx": 1},),
    ("4130", "no head"), ("4130", 5), ("4130", {"face_thickness_mm": 99}), ("4130", {5: 5}), ("4130", fp.Route()),
    ("4130", {"bend_zone_mm": 2.5}), ("4130", {"rim_thickness_mm": 25, "face_allowance_mm": 10}),
    ("4130", None, {"preheat_c": "hot"}), ("4130", None, "fast"), ("4130", None, fp.Route(later=fp.Temper(900.0))),
    ("4130", None, None, {"spray": 99}), ("4130", None, None, "/no/such.json"), ("4130", None, None, 5),
    (fp.grade("1045"), {"head": "wedge", "loft_deg": 50}, {"flux": 8}, {"spray": 1.2}),
])  # fmt: skip
def test_alone_and_in_the_batch_the_same_is_taken_and_refused(case):
    lists = (c if isinstance(c, (dict, str, type(None))) else [c] for c in case)
    row = fp.estimate_many(*lists, quick=True).iloc[0]
    try:
        result = fp.estimate(*case)
    except fp.InputError as error:
        assert row["error"] == str(error)
    else:
        assert row["error"] == "" and row["face_hardness_hv"] == result.zones["face"].hardness_hv


def test_a_failure_of_our_own_code_costs_its_row_and_blames_no_executor(monkeypatch, recwarn):
    real, bad = many.answers, (0, 5, 31)

    def poisoned(columns, **options):
        if np.isin(columns.route["preheat_c"], [900.0 + i for i in bad]).any():
            raise FloatingPointError("broken case")
        return real(columns, **options)

    monkeypatch.setattr(many, "answers", poisoned)
    # each its own later heat: a part of the cases keeps the lists of all
    heats = (fp.LocalHeat(peak_c=400.0 + i) for i in range(32))
    later = [fp.Route(preheat_c=900.0 + i, later=heat) for i, heat in enumerate(heats)]
    table = fp.estimate_many("4130", routes=later)
    failed = table["error"] != ""
    assert np.flatnonzero(failed).tolist() == list(bad)
    assert table["error"][5].startswith("the calculation failed (FloatingPointError: broken case)")
    assert (np.isfinite(table["face_hardness_hv"]) == ~failed).all()
    assert not [w for w in recwarn if "executor" in str(w.message)]


def test_a_broken_pool_loses_nothing():
    class Dead(ThreadPoolExecutor):
        def submit(self, *_args, **_kwargs):
            raise RuntimeError("cannot schedule new futures after shutdown")

    with pytest.warns(UserWarning, match="calculated here"):
        table = fp.estimate_many("4130", routes=routes_of(2), executor=Dead(1))
    assert table["error"].eq("").all()


def test_progress_and_cancel():
    seen, wish = [], threading.Event()

    def progress(done, total):
        seen.append((done, total))
        if done >= 128:
            wish.set()

    given = {"routes": routes_of(400), "chunk": 64}
    table = fp.estimate_many("1020", **given, progress=progress, cancel=wish)
    assert [d for d, _ in seen] == list(range(64, 64 * len(seen) + 1, 64))
    assert {t for _, t in seen} == {400}
    assert len(table) == seen[-1][0] < 400 and table.attrs["cancelled"]
    assert table["preheat_c"].tolist() == [820.0 + 0.5 * i for i in range(len(table))]


def test_generators_are_read_as_they_are_needed():
    taken = []

    def routes():
        for i in range(100_000):
            taken.append(i)
            yield {"preheat_c": 800.0 + i % 200}

    table = fp.estimate_many("1020", routes=routes(), chunk=64, cancel=lambda: len(taken) >= 128)
    assert len(table) <= 128 and len(taken) < 2000


@pytest.fixture
def folder(tmp_path):
    pytest.importorskip("pyarrow")
    return tmp_path / "cases"


def test_a_folder_holds_the_table_as_it_is(folder):
    odd = ["=HYPERLINK(1)", "NA", "0042", 'ß, "quoted"', "4130"]
    steels = [*(fp.Steel(name, {"C": 0.2}) for name in odd), {"C": -1}]
    written = fp.estimate_many(steels, to=folder, chunk=4)
    assert dataclasses.astuple(written) == (folder, 6, 1, 2, 0, True)
    pd.testing.assert_frame_equal(pd.read_parquet(folder), fp.estimate_many(steels), rtol=1e-12)
    assert sorted(p.name[:5] for p in folder.iterdir()) == ["part-", "part-"]


def test_an_interrupted_run_goes_on_to_the_same_end(folder):
    given, done = {"routes": routes_of(200), "to": folder, "chunk": 32}, []
    watch = {"progress": lambda *_: done.append(1), "cancel": lambda: len(done) >= 2}
    stopped = fp.estimate_many("4130", **given, **watch)
    assert not stopped.finished and stopped.rows == 32 * stopped.computed < 200
    before = {p: p.stat().st_mtime_ns for p in folder.iterdir()}
    again = fp.estimate_many("4130", **given)
    assert again.finished and again.kept == len(before) and again.computed == 7 - again.kept
    assert all(p.stat().st_mtime_ns == t for p, t in before.items())
    same(pd.read_parquet(folder), fp.estimate_many("4130", routes=routes_of(200)), rel=1e-12)


def test_a_killed_run_leaves_nothing_half_written_and_goes_on(folder):
    script = textwrap.dedent(f"""
        import forgeprops as fp
        fp.estimate_many("4130", routes=({{"preheat_c": 820.0 + 0.5 * i}} for i in range(20_000)),
                         to={str(folder)!r}, chunk=16)
    """)
    run = subprocess.Popen([sys.executable, "-c", script])
    deadline = time.monotonic() + 90
    while len(list(folder.glob("part-*"))) < 2 and time.monotonic() < deadline:
        assert run.poll() is None
        time.sleep(0.01)
    run.send_signal(signal.SIGKILL)
    run.wait()
    done = len(list(folder.glob("part-*")))
    n = 16 * (done + 1)
    (folder / ".part-000000000.parquet.lock").touch()  # as a kill just after the renaming leaves it
    assert done >= 2 and all(len(pd.read_parquet(p)) == 16 for p in folder.glob("part-*"))
    written = fp.estimate_many("4130", routes=routes_of(n), to=folder, chunk=16)
    assert (written.finished, written.kept, written.computed) == (True, done, 1)
    same(pd.read_parquet(folder), fp.estimate_many("4130", routes=routes_of(n)), rel=1e-12)
    assert all(p.name.startswith("part-") for p in folder.iterdir())


@pytest.mark.parametrize("steel, n, options, words", [
    ("1030", 8, {}, "other inputs"), ("4130", 8, {"chunk": 8}, "another size"),
    ("4130", 8, {"quick": True}, "other inputs"), ("4130", 4, {}, "beyond these cases"),
])  # fmt: skip
def test_other_inputs_or_options_do_not_mix(folder, steel, n, options, words):
    fp.estimate_many("4130", routes=routes_of(8), to=folder, chunk=4)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    given = {"routes": routes_of(n), "to": folder, "chunk": 4, **options}
    refuses(f"(?i){words}", fp.estimate_many, steel, **given)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_a_damaged_file_is_named_and_a_batch_that_runs_is_left_alone(folder):
    given = {"routes": routes_of(8), "to": folder, "chunk": 4}
    fp.estimate_many("4130", **given)
    with locked(folder / "cases"):
        refuses("being written by another program", fp.estimate_many, "4130", **given)
    assert fp.estimate_many("4130", **given).kept == 2
    (folder / "part-000000004.parquet").write_bytes(b"PAR1cut")
    refuses("part-000000004.parquet is damaged", fp.estimate_many, "4130", **given)
    assert (folder / "part-000000004.parquet").read_bytes() == b"PAR1cut"


@pytest.mark.parametrize("to, words", [
    ("out.csv", "ends in '.csv'"), ("no/such/out", "does not exist"),
    (5, "file to write must be a path; got 5"), ("", "file to write must be a path; got ''"),
    (" ", "visible characters"), ("a\0b", "cannot be written"), ("x" * 300, "cannot be written"),
    ("mine", "is a file"), ("photos", "no part of a batch"),
])  # fmt: skip
def test_bad_targets(tmp_path, monkeypatch, to, words):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").write_text("mine")
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "a.png").write_text("mine")
    before = sorted(tmp_path.rglob("*"))
    refuses(f"(?i){words}", fp.estimate_many, "4130", to=to)
    assert sorted(tmp_path.rglob("*")) == before


def test_memory_does_not_grow_with_the_cases(folder, monkeypatch):
    """At every write only the last tables are alive, and cases are taken a bounded number ahead."""
    taken, tables, most, ahead = [], [], [], []
    real = many._write

    def watched(file, table, checksum):
        tables.append(weakref.ref(table["face_hardness_hv"]))
        most.append(sum(t() is not None for t in tables))
        ahead.append(len(taken) - 4 * len(tables))
        real(file, table, checksum)

    def routes():
        for i in range(240):
            taken.append(i)
            yield {"preheat_c": 700.0 + i % 97, "spray": None, "soak_s": 30.0}

    monkeypatch.setattr(many, "_write", watched)
    fp.estimate_many("1020", routes=routes(), to=folder, chunk=4)
    assert len(tables) == 60 and max(most) <= 2 and max(ahead) <= 8 * (os.cpu_count() or 1)
