"""Wheel and sdist: everything is in them, and an installed wheel does the main job outside the checkout."""

import email.parser
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import time
import tomllib
import zipfile
from pathlib import Path

import licences
import pytest

import forgeprops as fp
from forgeprops.base.sources import sources
from forgeprops.base.tables import data_path
from forgeprops.engine.native import library

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
pytest.importorskip("build")


def run(*command, **options):
    options = {"capture_output": True, "text": True, "timeout": 900, "check": False, **options}
    done = subprocess.run([str(c) for c in command], **options)
    assert done.returncode == 0, f"{command}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
    return done.stdout


def told(*command):
    """What a command prints; "" where it fails."""
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return "" if done.returncode else done.stdout.strip()


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The sdist, and the wheel made from that sdist alone."""
    out = tmp_path_factory.mktemp("dist")
    have = all(importlib.util.find_spec(name) for name in ("hatchling", "ziglang"))
    isolation = ["--no-isolation"] if have else []
    run(sys.executable, "-m", "build", *isolation, "--outdir", out, ROOT)
    (sdist,), (wheel,) = out.glob("*.tar.gz"), out.glob("*.whl")
    return sdist, wheel


def checked_in(*folders):
    """Files under folders that belong to the project."""
    names = told("git", "-C", str(ROOT), "ls-files", *folders).split()
    return {n for n in names if (ROOT / n).exists()}


@pytest.mark.slow
def test_what_is_in_them(built):
    sdist, wheel = built
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    with tarfile.open(sdist) as archive:
        source = {n.partition("/")[2] for n in archive.getnames()}
    for name in checked_in("forgeprops"):
        built_from = name.endswith((".c", ".h", "build_hook.py", "cross_build.py", "targets.py"))
        assert (name in inside) != built_from and name in source, name
    for name in checked_in("data"):
        assert f"forgeprops/_data/{name.removeprefix('data/')}" in inside and name in source, name
    files = "README.md DEVELOPERS.md LICENSE pyproject.toml".split()
    files += ["requirements.lock", "requirements.hashed.lock"]
    assert checked_in("notebooks", "tests") | set(files) <= source
    left = ("__pycache__", ".pyc", ".ipynb_checkpoints")
    assert not [n for n in inside | source if any(part in n for part in left)]
    assert not [n for n in inside if n.startswith(("tests/", "notebooks/", "data/"))]
    assert wheel.stat().st_size < 3e6
    # The engine of this platform, and of no other; only the wheel holds it.
    assert wheel.name.startswith(f"forgeprops-{fp.__version__}-py3-none-")
    engines = {Path(n).name for n in inside if "_engine_" in n}
    here = {p.name for p in library.FOLDER.glob(f"_engine_{library.machine()}*{library.SUFFIX}")}
    assert engines == here and not [n for n in source if "_engine_" in n]


@pytest.mark.slow
def test_metadata(built):
    with zipfile.ZipFile(built[1]) as archive:
        folder = f"forgeprops-{fp.__version__}.dist-info"
        told = email.parser.Parser().parsestr(archive.read(f"{folder}/METADATA").decode())
        assert b"forgeprops.__main__:main" in archive.read(f"{folder}/entry_points.txt")
        assert b"BSD 3-Clause" in archive.read(f"{folder}/licenses/LICENSE")
    assert told["Version"] == fp.__version__ == PROJECT["version"]
    assert told["Requires-Python"] == ">=3.11"
    assert told["License-Expression"] == "BSD-3-Clause AND MIT"
    needed = [r for r in told.get_all("Requires-Dist") if "extra ==" not in r]
    assert {re.split(r"[<>=!~ ]", r)[0] for r in needed} == {"numpy", "scipy", "pandas", "openpyxl"}


def test_lock_with_checksums_is_the_lock():
    """Those of other systems and what builds the package stand in the one with checksums alone."""
    pins = []
    for name in ("requirements.lock", "requirements.hashed.lock"):
        text = (ROOT / name).read_text(encoding="utf-8")
        found = re.findall(r"^([\w.-]+)==([^\s;]+)", text, re.MULTILINE)
        pins.append({re.sub(r"[-_.]+", "-", n).lower(): v for n, v in found})
    plain, hashed = pins
    assert "--hash" not in (ROOT / "requirements.lock").read_text(encoding="utf-8")
    assert {n: hashed.get(n) for n in plain} == plain
    assert {"editables", "hatchling", "ziglang"} <= set(hashed) - set(plain)


def test_every_dependency_tells_its_licence():
    """No copyleft beyond files of their own (MPL)."""
    found = {name: licences.licence(name) for name in licences.dependencies()}
    assert len(found) > 100 or not os.environ.get("CI")
    assert all(found.values()), [name for name, told in found.items() if not told]
    assert not [n for n, told in found.items() if re.search(r"\bA?GPL|LGPL|General Public", told)]


def test_change_list_knows_this_version_and_a_checkout_reads_its_own_data():
    assert f"**{fp.__version__}**" in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert data_path() == ROOT / "data"


_JOB = """
import json
from pathlib import Path
import forgeprops as fp
from forgeprops.base.sources import sources
from forgeprops.base.tables import data_path, read_rows
where = Path(fp.__file__)
tables = sorted(p.relative_to(data_path()).as_posix() for p in data_path().rglob("*.csv"))
rows = {name: len(read_rows(name)) for name in tables if not name.startswith("demo/")}
result = fp.estimate(fp.grade("4130"), fp.head("mid-iron"), fp.Route())
many = fp.estimate_many(["4130", "1020"])
print(json.dumps({"where": str(where), "data": str(data_path()), "rows": rows, "face": result.zones["face"].hardness_hv,
                  "names": sum(hasattr(fp, n) for n in fp.__all__), "sources": len(sources()), "many": list(many["face_hardness_hv"]),
                  "grades": len([fp.grade(g) for g in fp.grades()]), "heads": len([fp.head(h) for h in fp.heads()]),
                  "certificates": len(fp.read_certificates(data_path("demo", "certificates.csv")))}))
"""


#: Nothing of the test's own Python, and no compiler: the path holds nothing at all.
KEPT = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL_ENV"))}
BARE = {**{k: v for k, v in KEPT.items() if k not in ("CC", "FORGEPROPS_TARGET")}, "PATH": ""}


def install(python, *what, **options):
    """Install into that Python's environment; what is never imported need not be compiled."""
    pip = (sys.executable, "-m", "pip", "--python", python)
    run(*pip, "install", "--quiet", "--no-compile", *what, env=BARE, **options)


def interpreter(version):
    """Path of a Python of this version on the machine, or None."""
    pyenv = Path.home().glob(f".pyenv/versions/{version}.*/bin/python")
    found = [sys.executable, shutil.which(f"python{version}"), *pyenv]
    if uv := shutil.which("uv"):
        found.append(told(uv, "python", "find", "--no-python-downloads", version))
    code = "import sys; print('%d.%d' % sys.version_info[:2])"
    return next((p for p in filter(None, found) if told(p, "-c", code) == version), None)


def environment_of(interpreter, folder):
    """Python of a fresh virtual environment; the pip of the tests fills it."""
    run(interpreter, "-m", "venv", "--without-pip", folder, env=BARE)
    return folder / ("Scripts" if os.name == "nt" else "bin") / "python"


@pytest.fixture(scope="module", params=["3.11", "3.12", "3.13", "3.14"])
def installed(request, built, tmp_path_factory):
    """A Python that has the wheel and nothing of the checkout: in CI a fresh environment of each version."""
    home = tmp_path_factory.mktemp("elsewhere")
    found = interpreter(request.param)
    if found is None:
        pytest.skip(f"Python {request.param} is not on this machine: not run")
    if os.environ.get("CI"):
        python = environment_of(found, home / "env")
        install(python, built[1], cwd=home)
        return python, home, BARE
    if found != sys.executable:
        pytest.skip(f"Python {request.param} is tried in CI only: not run")
    pip = (sys.executable, "-m", "pip", "install", "--quiet", "--no-deps")
    run(*pip, "--target", home / "site", built[1], cwd=home)
    return Path(found), home, BARE | {"PYTHONPATH": str(home / "site")}


@pytest.mark.slow
def test_installed_wheel_does_the_main_job(installed):
    python, home, environment = installed
    told = json.loads(run(python, "-c", _JOB, cwd=home, env=environment).splitlines()[-1])
    assert str(home) in told["where"] and str(home) in told["data"]
    expected = fp.estimate(fp.grade("4130")).zones["face"].hardness_hv
    assert told["face"] == pytest.approx(expected, rel=1e-9)
    assert told["names"] == len(fp.__all__)
    assert told["many"][0] == pytest.approx(told["face"], rel=1e-6)
    assert len(told["rows"]) >= 30 and all(told["rows"].values()) and told["certificates"] > 3
    counts = (len(fp.grades()), len(fp.heads()), len(sources()))
    assert (told["grades"], told["heads"], told["sources"]) == counts
    line = run(python, "-m", "forgeprops", "--grade", "4130", "--json", cwd=home, env=environment)
    assert json.loads(line)["zones"]["face"]["hardness_hv"] == pytest.approx(told["face"], rel=1e-3)


_CLOCK = """
import time
a = time.perf_counter()
import numpy, pandas
b = time.perf_counter()
import forgeprops as fp
fp.estimate(fp.grade("4130"))
print(b - a, time.perf_counter() - b)
"""


@pytest.mark.slow
@pytest.mark.skipif(not os.environ.get("CI"), reason="fetches every dependency: in CI only")
def test_fresh_clone_installs_without_a_compiler(tmp_path, capsys):
    """The README's first command on a bare machine; its times are shown, not asserted."""
    run("git", "clone", "--quiet", ROOT, tmp_path / "clone")
    python = environment_of(sys.executable, tmp_path / "env")
    begin = time.perf_counter()
    install(python, "-c", ROOT / "requirements.lock", "-e", tmp_path / "clone", cwd=tmp_path)
    install_s = time.perf_counter() - begin
    runs = [run(python, "-c", _CLOCK, cwd=tmp_path, env=BARE).split() for _ in range(2)]
    first, *later = [[float(x) for x in r] for r in runs]
    with capsys.disabled():
        both = f"first process of all {first[1]:.2f} s, later ones {min(x[1] for x in later):.2f} s"
        print(f"\ninstall of a fresh clone {install_s:.0f} s; over numpy and pandas, {both}")
    code = "from forgeprops.engine.native.library import load; print(load()._name)"
    name = run(python, "-c", code, cwd=tmp_path, env=BARE).strip()
    assert name.startswith(str(tmp_path / "clone"))
