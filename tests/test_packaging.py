"""Wheel and sdist: everything is in them, and an installed wheel does the main job outside the checkout."""

import email.parser
import importlib.util
import json
import os
import re
import subprocess
import sys
import tarfile
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

import forgeprops as fp
from forgeprops.base.sources import sources
from forgeprops.base.tables import data_path

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("build") is None, reason="needs the build package"
)


def run(*command, **options):
    done = subprocess.run(
        [str(c) for c in command],
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
        **options,
    )
    assert done.returncode == 0, f"{command}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The sdist, and the wheel made from that sdist alone."""
    out = tmp_path_factory.mktemp("dist")
    isolation = ["--no-isolation"] if importlib.util.find_spec("hatchling") else []
    run(sys.executable, "-m", "build", *isolation, "--outdir", out, ROOT)
    (sdist,), (wheel,) = out.glob("*.tar.gz"), out.glob("*.whl")
    return sdist, wheel


def checked_in(*folders):
    """Files under folders that belong to the project."""
    listed = subprocess.run(
        ["git", "-C", str(ROOT), "ls-files", *folders], capture_output=True, text=True, check=False
    )
    names = listed.stdout.split() if listed.returncode == 0 else []
    return {n for n in names if (ROOT / n).exists()}


@pytest.mark.slow
def test_what_is_in_them(built):
    sdist, wheel = built
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    with tarfile.open(sdist) as archive:
        source = {n.partition("/")[2] for n in archive.getnames()}
    for name in checked_in("forgeprops"):
        assert name in inside and name in source, name
    for name in checked_in("data"):
        assert f"forgeprops/_data/{name.removeprefix('data/')}" in inside and name in source, name
    for name in checked_in("notebooks", "tests") | {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
    }:
        assert name in source, name
    assert not [
        n
        for n in inside | source
        if "__pycache__" in n or n.endswith((".pyc", ".ipynb_checkpoints"))
    ]
    assert not [n for n in inside if n.startswith(("tests/", "notebooks/", "data/"))]
    assert "forgeprops/py.typed" in inside and wheel.stat().st_size < 3e6


@pytest.mark.slow
def test_metadata(built):
    with zipfile.ZipFile(built[1]) as archive:
        folder = f"forgeprops-{fp.__version__}.dist-info"
        told = email.parser.Parser().parsestr(archive.read(f"{folder}/METADATA").decode())
        assert b"forgeprops.__main__:main" in archive.read(f"{folder}/entry_points.txt")
        assert b"BSD 3-Clause" in archive.read(f"{folder}/licenses/LICENSE")
    assert (
        told["Version"] == fp.__version__ == PROJECT["version"]
        and told["Requires-Python"] == ">=3.11"
    )
    assert told["License-Expression"] == "BSD-3-Clause"
    needed = [r for r in told.get_all("Requires-Dist") if "extra ==" not in r]
    assert {re.split(r"[<>=!~ ]", r)[0] for r in needed} == {
        "numpy",
        "scipy",
        "pandas",
        "numba",
        "openpyxl",
    }


def test_change_list_knows_this_version():
    assert f"**{fp.__version__}**" in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


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
names = [getattr(fp, n) is not None for n in fp.__all__]
many = fp.estimate_many(["4130", "1020"])
print(json.dumps({"where": str(where), "data": str(data_path()), "rows": rows, "face": result.zones["face"].hardness_hv,
                  "names": len(names), "sources": len(sources()), "many": list(many["face_hardness_hv"]),
                  "grades": len([fp.grade(g) for g in fp.grades()]), "heads": len([fp.head(h) for h in fp.heads()]),
                  "certificates": len(fp.read_certificates(data_path("demo", "certificates.csv")))}))
"""


@pytest.fixture(scope="module")
def installed(built, tmp_path_factory):
    """A Python that has the wheel and nothing of the checkout: in CI a fresh environment with fresh dependencies."""
    home = tmp_path_factory.mktemp("elsewhere")
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL_ENV"))}
    if os.environ.get("CI"):
        venv.create(home / "env", with_pip=True)
        python = home / "env" / ("Scripts" if os.name == "nt" else "bin") / "python"
        run(python, "-m", "pip", "install", "--quiet", built[1], cwd=home, env=clean)
    else:
        python = Path(sys.executable)
        run(
            python,
            "-m",
            "pip",
            "install",
            "--quiet",
            "--no-deps",
            "--target",
            home / "site",
            built[1],
            cwd=home,
        )
        clean["PYTHONPATH"] = str(home / "site")
    return python, home, clean


@pytest.mark.slow
def test_installed_wheel_does_the_main_job(installed):
    python, home, environment = installed
    told = json.loads(run(python, "-c", _JOB, cwd=home, env=environment).splitlines()[-1])
    assert str(home) in told["where"] and str(home) in told["data"]
    assert told["face"] == pytest.approx(
        fp.estimate(fp.grade("4130")).zones["face"].hardness_hv, rel=1e-9
    )
    assert told["names"] == len(fp.__all__) and told["many"][0] == pytest.approx(
        told["face"], rel=1e-6
    )
    assert len(told["rows"]) >= 30 and all(told["rows"].values()) and told["certificates"] > 3
    assert (told["grades"], told["heads"], told["sources"]) == (
        len(fp.grades()),
        len(fp.heads()),
        len(sources()),
    )
    line = run(python, "-m", "forgeprops", "--grade", "4130", "--json", cwd=home, env=environment)
    assert json.loads(line)["zones"]["face"]["hardness_hv"] == pytest.approx(told["face"], rel=1e-3)


def test_checkout_reads_its_own_data():
    assert data_path() == ROOT / "data"
