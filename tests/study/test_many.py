"""Batches: the same numbers as single estimates, whatever the chunks and the executor; files that survive."""

import dataclasses
import json
import os
import pickle
import signal
import subprocess
import sys
import textwrap
import threading
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.answer.cases import cases_of, chunks
from forgeprops.base.errors import InputError
from forgeprops.inputs.case_columns import columns_of
from forgeprops.inputs.head import ZONES
from forgeprops.io.saved import read_table
from forgeprops.study.process import many, streaming
from forgeprops.study.process.codes import NOT_TOLD
from forgeprops.study.process.many import compute, prepare, table_columns

sys.path.insert(0, str(Path(__file__).parent))
from mixed_cases import mixed

NUMBERS = [
    name
    for name in table_columns()
    if name not in ("case", "steel", "head", "hosel_governed_by", "warnings", "error")
]


def same(a, b, rel=1e-9):
    assert list(a.columns) == list(b.columns) and len(a) == len(b)
    for name in NUMBERS:
        np.testing.assert_allclose(
            a[name].to_numpy(float), b[name].to_numpy(float), rtol=rel, err_msg=name
        )
    for name in ("hosel_governed_by", "warnings", "error", "steel", "head"):
        # a CSV knows neither empty text nor that "4130" is a name
        texts = [["" if v != v else str(v) for v in table[name]] for table in (a, b)]
        assert texts[0] == texts[1], name


def plain_of(table):
    """The table without intervals, which has no marches without water either."""
    words = [[w for w in told.split("; ") if w != "idle-water"] for told in table["warnings"]]
    return table[table_columns()].assign(warnings=["; ".join(w) for w in words])


@pytest.fixture(scope="module")
def batch():
    inputs = mixed(20)
    return inputs, fp.estimate_many(*inputs, intervals=True)


def test_batch_is_equal_to_single_estimates(batch):
    (steels, heads, routes, shops), table = batch
    for i in range(len(steels)):
        one, row = fp.estimate(steels[i], heads[i], routes[i], shops[i]), table.iloc[i]
        for zone in ZONES:
            z = one.zones[zone]
            for name, value in (
                ("hardness_hv", z.hardness_hv),
                ("hardness_low_hv", z.hardness_low_hv),
                ("hardness_high_hv", z.hardness_high_hv),
                ("yield_mpa", z.strength.yield_mpa),
                ("tensile_mpa", z.strength.tensile_mpa),
            ):
                assert row[f"{zone}_{name}"] == pytest.approx(value, rel=1e-9), (i, zone, name)
        assert row["hosel_allowed_deg"] == pytest.approx(one.hosel.allowed_deg, rel=1e-9)
        assert row["hosel_governed_by"] == one.hosel.governed_by
        assert row["face_margin"] == pytest.approx(one.face.margin, rel=1e-9)
        assert row["scale_um"] == pytest.approx(one.scale_um, rel=1e-9)
        told = {w.code for w in one.warnings if not w.code.startswith((*NOT_TOLD, "face"))}
        assert set(filter(None, row["warnings"].split("; "))) == told, i


def test_idle_water_is_told_as_by_single_estimates():
    """Too brief, too little for a plain steel, idle on one that hardens in air, or none; silent where it works."""
    cases = [("4130", {"spray_s": 3.0}), ("1020", {}), ("4340", {"preheat_c": 1150.0, "spray_s": 4.0}), ("4130", {}),
             ("4130", {"spray_s": 5.0}), ("4130", {"preheat_c": 700.0}), ("4130", {"flux": 0.0}), ("1045", {})]  # fmt: skip
    steels, routes = [fp.grade(g) for g, _ in cases], [fp.Route().with_(**s) for _, s in cases]
    steels, routes = (
        [*steels, fp.grade("4130")],
        [*routes, dataclasses.replace(fp.Route(), spray=None)],
    )
    told = [
        {w.code for w in fp.estimate(s, route=r).warnings}
        for s, r in zip(steels, routes, strict=True)
    ]
    table = fp.estimate_many(steels, routes=routes, intervals=True)
    idle = ["idle-water" in words.split("; ") for words in table["warnings"]]
    assert idle == ["idle-water" in codes for codes in told]
    assert idle[:3] == [True] * 3 and not any(idle[3:])
    plain = fp.estimate_many(steels, routes=routes)
    assert not plain["warnings"].str.contains("idle-water").any()  # it would double the work


def test_order_and_inputs_are_kept(batch):
    (steels, heads, routes, _), table = batch
    assert table["case"].tolist() == list(range(20))
    assert table["steel"].tolist() == [s.name for s in steels]
    assert table["head"].tolist() == [h.name for h in heads]
    assert table["preheat_c"].tolist() == [r.preheat.temperature_c for r in routes]


def test_independent_of_chunks_and_threads(batch):
    inputs, table = batch
    plain = plain_of(table)
    with ThreadPoolExecutor(3) as pool:
        for chunk, executor in ((1, None), (7, None), (64, pool)):
            same(fp.estimate_many(*inputs, chunk=chunk, executor=executor), plain)
    # one at a time, without any batch around it
    one_by_one = [compute(columns_of(*([part[i]] for part in inputs)), False) for i in range(20)]
    assert [float(r["face_hardness_hv"][0]) for r in one_by_one] == pytest.approx(
        table["face_hardness_hv"].tolist(), rel=1e-9
    )


def test_process_pool(batch):
    import multiprocessing

    inputs, table = batch
    for how in ("fork", "spawn"):
        with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context(how)) as pool:
            same(fp.estimate_many(*inputs, executor=pool), plain_of(table))


def test_cluster_of_dask(batch):
    distributed = pytest.importorskip("distributed")
    inputs, table = batch
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        same(fp.estimate_many(*inputs, executor=client.get_executor()), plain_of(table))


def test_tasks_pickle(batch):
    inputs, _ = batch
    columns = columns_of(*inputs)
    again = pickle.loads(pickle.dumps(columns))
    a, b = compute(columns, False), compute(again, False)
    assert all(np.array_equal(a[name], b[name]) for name in a)


def test_singles_serve_all_and_names_are_enough():
    table = fp.estimate_many("4130", routes=[{"preheat_c": 880}, fp.Route(), {"spray": None}])
    assert len(table) == 3 and table["error"].eq("").all() and set(table["head"]) == {"mid-iron"}
    assert len(fp.estimate_many("1020")) == 1
    heads = fp.estimate_many("1020", [{"head": "wedge", "face_thickness_mm": 3.0}, "wedge"])
    assert heads["face_margin"].iloc[0] != heads["face_margin"].iloc[1]


def test_a_bad_case_is_a_row_with_its_error():
    steels = ["4130", 7, "no grade", {"Mn": 0.5}, "4130", "4130", {"C": 0.3, "Xx": 1}, None]
    routes = [fp.Route(), None, None, None, {"flux": -3}, {"later": 1}, None, None]
    shops = [None, None, None, None, None, None, None, {"spray": 99}]
    table = fp.estimate_many(steels, None, routes, shops)
    assert len(table) == 8
    assert table["error"].iloc[0] == "" and np.isfinite(table["face_hardness_hv"].iloc[0])
    assert (table["error"].iloc[1:] != "").all() and table["face_hardness_hv"].iloc[1:].isna().all()
    for i, words in (
        (1, "steel is 7"),
        (2, "'no grade'"),
        (3, "carbon is missing"),
        (4, "spray flux is -3"),
        (5, "later"),
        (6, "Xx"),
        (7, ""),
    ):
        assert words in table["error"].iloc[i]
    assert table["steel"].iloc[4] == "4130"  # what could be made is told


def test_later_heat_above_ac1_is_this_rows_error():
    hot = fp.Route(later=(fp.LaterHeat(900.0),))
    table = fp.estimate_many("4130", routes=[hot, fp.Route()])
    with pytest.raises(InputError) as single:
        fp.estimate(fp.grade("4130"), route=hot)
    assert table["error"].tolist() == [str(single.value), ""]


@pytest.mark.parametrize(
    "arguments, words",
    [
        ((["4130"] * 3, ["wedge"] * 2), "differ in length: 3 steels, 2 heads"),
        ((5,), "steels is 5"),
        ((iter(["4130"] * 3), iter(["wedge"] * 2)), "heads end after 2 cases but steels go on"),
    ],
)
def test_what_cannot_be_paired_is_refused(arguments, words):
    with pytest.raises(InputError, match=words):
        fp.estimate_many(*arguments)


def test_a_chunk_that_dies_is_computed_case_by_case(monkeypatch):
    real, calls = many.answers, []

    def poisoned(columns, **options):
        calls.append(len(columns))
        if (columns.route["preheat_c"] == 901.0).any():
            raise FloatingPointError("broken case")
        return real(columns, **options)

    monkeypatch.setattr(many, "answers", poisoned)
    with pytest.warns(UserWarning, match="one by one"):
        table = fp.estimate_many("4130", routes=[{"preheat_c": t} for t in (900, 901, 902)])
    assert table["error"].tolist() == ["", "FloatingPointError: broken case", ""]
    assert np.isfinite(table["face_hardness_hv"]).tolist() == [True, False, True]


def test_a_broken_pool_loses_nothing():
    class Dead(ThreadPoolExecutor):
        def submit(self, *_args, **_kwargs):
            raise RuntimeError("cannot schedule new futures after shutdown")

    with pytest.warns(UserWarning, match="computed here"):
        table = fp.estimate_many(
            "4130", routes=[{"preheat_c": 900}, {"preheat_c": 950}], executor=Dead(1)
        )
    assert table["error"].eq("").all()


def test_progress_and_cancel():
    seen, wish = [], threading.Event()

    def progress(done, total):
        seen.append((done, total))
        if done >= 128:
            wish.set()

    table = fp.estimate_many(
        "1020",
        routes=[{"preheat_c": 800.0 + i} for i in range(400)],
        progress=progress,
        cancel=wish,
        chunk=64,
    )
    assert [d for d, _ in seen] == list(range(64, 64 * len(seen) + 1, 64)) and {
        t for _, t in seen
    } == {400}
    assert len(table) == seen[-1][0] < 400 and table.attrs["cancelled"]
    assert table["preheat_c"].tolist() == [800.0 + i for i in range(len(table))]


def test_generators_are_read_as_they_are_needed():
    taken = []

    def routes():
        for i in range(100_000):
            taken.append(i)
            yield {"preheat_c": 800.0 + i % 200}

    table = fp.estimate_many("1020", routes=routes(), chunk=64, cancel=lambda: len(taken) >= 128)
    assert len(table) <= 128 and len(taken) < 2000


# ---- files


def routes_of(n):
    return ({"preheat_c": 820.0 + 0.5 * i} for i in range(n))


@pytest.mark.parametrize("name", ["out.csv", "out.parquet"])
def test_stream_equals_table(tmp_path, name):
    if name.endswith("parquet"):
        pytest.importorskip("pyarrow")
    written = fp.estimate_many("4130", routes=routes_of(150), to=tmp_path / name, chunk=64)
    assert written.finished
    assert (written.rows, written.errors, written.computed, written.kept) == (150, 0, 3, 0)
    same(
        read_table(tmp_path / name, "cases"),
        fp.estimate_many("4130", routes=routes_of(150)),
        rel=1e-12,
    )
    assert sorted(p.name for p in tmp_path.iterdir()) == [name]


def test_folder_of_parts(tmp_path):
    pandas, _ = pytest.importorskip("pandas"), pytest.importorskip("pyarrow")
    fp.estimate_many("4130", routes=routes_of(100), to=tmp_path / "cases", chunk=64)
    assert len(list((tmp_path / "cases").glob("part-*.parquet"))) == 2
    assert len(pandas.read_parquet(tmp_path / "cases")) == 100


def test_resume_computes_only_what_is_missing(tmp_path):
    file = tmp_path / "out.csv"
    stopped = fp.estimate_many("4130", routes=routes_of(300), to=file, chunk=64, **stop_after(2))
    assert not stopped.finished and stopped.computed >= 2 and not file.exists()
    before = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "out.csv.parts").glob("part-*")}
    # one finished chunk is damaged: it alone is computed again
    (tmp_path / "out.csv.parts" / min(before)).write_text(
        "# forgeprops cases table, version 1, 64 rows\ncut"
    )
    again = fp.estimate_many("4130", routes=routes_of(300), to=file, chunk=64)
    assert again.finished and again.kept == len(before) - 1 and again.computed == 5 - again.kept
    same(read_table(file, "cases"), fp.estimate_many("4130", routes=routes_of(300)), rel=1e-12)


def test_killed_run_resumes(tmp_path):
    """A real kill -9 in the middle: finished chunks stay, nothing half is there, the end is the same."""
    script = textwrap.dedent(f"""
        import forgeprops as fp
        fp.estimate_many("4130", routes=({{"preheat_c": 820.0 + 0.5 * i}} for i in range(20_000)),
                         to={str(tmp_path / "out.csv")!r}, chunk=32)
    """)
    run = subprocess.Popen([sys.executable, "-c", script])
    folder = tmp_path / "out.csv.parts"
    deadline = time.monotonic() + 90
    while (
        len(list(folder.glob("part-*"))) < 3 and time.monotonic() < deadline and run.poll() is None
    ):
        time.sleep(0.02)
    run.send_signal(signal.SIGKILL)
    run.wait()
    done = sorted(folder.glob("part-*"))
    assert len(done) >= 3
    n = 32 * (len(done) + 2)
    written = fp.estimate_many("4130", routes=routes_of(n), to=tmp_path / "out.csv", chunk=32)
    assert written.finished and written.kept == len(done) and written.computed == 2
    same(
        read_table(tmp_path / "out.csv", "cases"),
        fp.estimate_many("4130", routes=routes_of(n)),
        rel=1e-12,
    )


def test_other_inputs_or_other_options_do_not_mix(tmp_path):
    file = tmp_path / "out.csv"
    fp.estimate_many("4130", routes=routes_of(200), to=file, chunk=64, **stop_after(1))
    with pytest.raises(InputError, match="other inputs"):
        fp.estimate_many("1030", routes=routes_of(200), to=file, chunk=64)
    with pytest.raises(InputError, match="chunk size"):
        fp.estimate_many("4130", routes=routes_of(200), to=file, chunk=32)
    with pytest.raises(InputError, match="set of columns"):
        fp.estimate_many("4130", routes=routes_of(200), to=file, chunk=64, intervals=True)
    manifest = tmp_path / "out.csv.parts" / "manifest.json"
    told = json.loads(manifest.read_text())
    assert told["format"] == "forgeprops cases" and told["version"] == 1
    manifest.write_text(json.dumps({**told, "version": 99}))
    with pytest.raises(InputError, match="newer forgeprops"):
        fp.estimate_many("4130", routes=routes_of(200), to=file, chunk=64)
    anew = fp.estimate_many("1030", routes=routes_of(64), to=file, chunk=64, resume=False)
    assert anew.finished and anew.kept == 0


@pytest.mark.parametrize("resume", [True, False])
def test_a_batch_that_runs_is_left_alone(tmp_path, resume):
    """A second writer of the same file is refused at once and throws nothing of the first away."""
    from forgeprops.io.writing import locked

    file, folder = tmp_path / "out.csv", tmp_path / "out.csv.parts"
    fp.estimate_many("4130", routes=routes_of(200), to=file, chunk=64, **stop_after(1))
    before = sorted(p.name for p in folder.iterdir())
    with locked(folder / file.name):
        with pytest.raises(InputError, match="out.csv is being written by another program"):
            fp.estimate_many("4130", routes=routes_of(200), to=file, chunk=64, resume=resume)
        assert [
            n for n in sorted(p.name for p in folder.iterdir()) if not n.endswith(".lock")
        ] == before
    assert fp.estimate_many("4130", routes=routes_of(200), to=file, chunk=64).finished


def stop_after(chunks):
    """Arguments that cancel a run once so many chunks are finished."""
    done = []
    return {"progress": lambda *_: done.append(1), "cancel": lambda: len(done) >= chunks}


def test_an_existing_file_is_kept(tmp_path):
    (tmp_path / "out.csv").write_text("mine")
    with pytest.raises(InputError, match="exists already"):
        fp.estimate_many("4130", to=tmp_path / "out.csv")
    assert (tmp_path / "out.csv").read_text() == "mine"


@pytest.mark.parametrize(
    "to, words",
    [
        ("out.xlsx", "ends in '.xlsx'"),
        ("no/such/out.csv", "does not exist"),
        (5, "to is 5"),
        ("", "to is ''"),
    ],
)
def test_bad_targets(tmp_path, monkeypatch, to, words):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=words):
        fp.estimate_many("4130", to=to)
    assert not list(tmp_path.iterdir())


def test_formulas_in_names_are_disarmed(tmp_path):
    steel = fp.Steel("=HYPERLINK(1)", {"C": 0.2})
    fp.estimate_many([steel, {"C": -1}], to=tmp_path / "out.csv")
    text = (tmp_path / "out.csv").read_text()
    assert "'=HYPERLINK(1)" in text and ",=HYPERLINK" not in text
    assert read_table(tmp_path / "out.csv", "cases")["steel"].iloc[0] == "=HYPERLINK(1)"


def test_names_with_line_breaks_do_not_break_the_count(tmp_path):
    odd = fp.Steel('two\nlines, "quoted"', {"C": 0.2})
    fp.estimate_many([odd] * 96, to=tmp_path / "out.csv", chunk=32, **stop_after(2))
    written = fp.estimate_many([odd] * 96, to=tmp_path / "out.csv", chunk=32)
    assert written.finished and written.rows == 96 and written.kept == 2
    assert set(read_table(tmp_path / "out.csv", "cases")["steel"]) == {odd.name}


def test_fingerprint_is_of_values_not_objects():
    steel = fp.grade("4130")
    twin = fp.Steel(steel.name, dict(steel.composition), limits=steel.limits)
    routes = [fp.Route().with_(preheat_c=900.0 + i) for i in range(4)]
    a = prepare(next(chunks(cases_of([steel] * 4, None, routes, None), 4)), 0)
    b = prepare(
        next(chunks(cases_of([twin, steel, twin, twin], ["mid-iron"] * 4, routes, [None] * 4), 4)),
        0,
    )
    c = prepare(next(chunks(cases_of([steel] * 4, None, routes[::-1], None), 4)), 0)
    assert streaming._fingerprint(a) == streaming._fingerprint(b) != streaming._fingerprint(c)


@pytest.mark.slow
def test_memory_does_not_grow_with_the_cases(tmp_path):
    """Peak memory of a stream: ten times the cases must not take noticeably more."""
    if not os.path.exists("/proc/self/status"):
        pytest.skip("peak memory is read from /proc")
    # not getrusage: a child's ru_maxrss starts from the memory of the process that forked it
    script = textwrap.dedent("""
        import re, sys
        from pathlib import Path
        import forgeprops as fp
        n = int(sys.argv[1])
        fp.estimate_many("1020", routes=({"preheat_c": 700.0 + i % 97, "spray": None, "soak_s": 30 + i % 5}
                         for i in range(n)), to=sys.argv[2], chunk=256)
        print(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
    """)
    peak = {}
    for n in (1000, 10_000):
        out = subprocess.run(
            [sys.executable, "-c", script, str(n), str(tmp_path / f"{n}.csv")],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ},
        )
        peak[n] = int(out.stdout) / 1024
    assert peak[10_000] < 600 and peak[10_000] - peak[1000] < 60, peak


def test_unwritable_cache_still_computes(tmp_path):
    """No folder for the compile cache: a warning, the same numbers."""
    numbers = "float(curvature(13.4, 9.4, strength(150).curve, 90_000.0))"
    script = (
        "from forgeprops.hosel.bending_moment import curvature\n"
        f"from forgeprops.strength.tensile import strength\nprint({numbers})"
    )
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    command = [sys.executable, "-W", "ignore", "-c", script]
    out = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "NUMBA_CACHE_DIR": str(blocked / "cache")},
    )
    from forgeprops.hosel.bending_moment import curvature
    from forgeprops.strength.tensile import strength

    ours = float(curvature(13.4, 9.4, strength(150).curve, 90_000.0))
    assert float(out.stdout) == pytest.approx(ours, rel=1e-12)


def test_data_folder_is_not_written(tmp_path):
    assert not list(Path(fp.__file__).parent.rglob("*.parts"))
