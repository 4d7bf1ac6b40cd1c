"""Every formula names its source and basis; every valid range is asked somewhere and warns with value, range and source."""

import ast
import re
import warnings
from pathlib import Path

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.base import ranges
from forgeprops.base.sources import BASES, counted, references, sources
from forgeprops.base.tables import data_path, read_rows
from forgeprops.hardenability.end_quench import end_quench_warnings
from forgeprops.hardenability.ideal_diameter import ideal_diameter_warnings
from forgeprops.strength.tensile import strength

PACKAGE = Path(fp.__file__).parent
#: Rooms of formulas: every public function of theirs with arithmetic of its own must name its source.
FORMULA_ROOMS = "hardenability transformation forging thermal strength hosel face".split()
#: Translations; each constant of theirs is a tolerance or stands elsewhere.
BOOKKEEPING = ("strength_of", "aged")


def formulas():
    """(file, function node) of every public function of the formula rooms."""
    for room in FORMULA_ROOMS:
        for path in sorted((PACKAGE / room).glob("*.py")):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    yield path, node


def coefficients(node):
    """Numbers of three or more significant digits in the code of a function, 0 °C in K left out."""
    body = node.body[1:] if ast.get_docstring(node) else node.body
    for part in (n for statement in body for n in ast.walk(statement)):
        if isinstance(part, ast.Constant) and isinstance(part.value, float):
            digits = f"{part.value:.9e}".partition("e")[0].replace(".", "").rstrip("0")
            if len(digits) >= 3 and part.value != 273.15:
                yield part.value


def test_every_formula_with_coefficients_names_a_source():
    bare = [(p, f) for p, f in formulas() if not references(ast.get_docstring(f), f.name)]
    bare = [(p, f) for p, f in bare if f.name not in BOOKKEEPING and any(coefficients(f))]
    assert [f"{path}: {f.name} {list(coefficients(f))[:3]}" for path, f in bare] == []


def test_sources_are_whole_public_and_counted_by_basis(capsys):
    assert len(sources()) > 150
    for source in sources():
        assert source.basis in BASES and source.what and len(source.reference) > 10, source
        assert not re.search(r"\w\.(com|de|net)\b|scribd|stored text", source.reference), source
        for file in re.findall(r"\b(?:data|tests)/[\w./]*\w", source.reference):
            assert (data_path().parent / file).is_file(), f"{source.where}: {file} does not exist"
    # What the numbers rest on; shown with -s.
    with capsys.disabled():
        print(f"\n{counted(sources())}")
    assert counted(sources()).startswith(f"{len(sources())} sources: ")
    doc = "Ae3.\n\nReferences\n----------\n.. [1] K. W. Andrews 1965.\n"
    with pytest.raises(ValueError, match="does not end with its basis"):
        references(doc, "room.formula")


TABLES = [path.relative_to(data_path()).as_posix() for path in sorted(data_path().rglob("*.csv"))]


@pytest.mark.parametrize("name", [name for name in TABLES if not name.startswith("demo/")])
def test_tables_carry_source_and_basis(name):
    """Row by row or in their header, in the words of `BASES`; results of our own validations carry neither."""
    rows = read_rows(name)
    if "validation" in name or name.startswith("measured/martensite_start"):
        return
    text = data_path(*name.split("/")).read_text(encoding="utf-8").splitlines()
    header = " ".join(line for line in text if line.startswith("#"))
    assert "basis" in rows[0] or any(basis in header for basis in BASES), name
    for row in rows:
        basis = row.get("basis", "read")
        assert basis in BASES or basis == row["source"] == "", f"{name}: {basis}"


def where(**settings):
    result = fp.estimate(fp.grade("1030"), "mid-iron", fp.Route().with_(**settings))
    return {source.where for source in result.sources}


def test_sources_follow_route_steel_and_head():
    wet = where()
    for name in (
        "thermal.spray.spray_w_m2k transformation.kinetics.ln_composition_factors transformation.temperatures.ae3_grange "
        "strength.tensile.strength_arrays hosel.bending_moment.Section face.fatigue.fatigue_limit_mpa "
        "forging.flow_stress_laws.shida_mpa library.grades.1030 library.heads.mid-iron engine base.constants"
    ).split():
        assert name in wet, name
    assert not any(name.startswith(("study.", "show.", "certificates.", "io.")) for name in wet)
    forced = "thermal.surroundings.forced_cylinder"
    assert forced not in wet and forced in where(surroundings="fan")
    assert "thermal.surroundings.row_view_factor" in where(surroundings="row")
    assert not {n for n in where(flux=0.0) if n.startswith("thermal.spray.")}
    assert "transformation.recrystallisation.strain_speed_factor" not in where(strain=0.0)
    own = fp.Steel("own", {"C": 0.2, "Mn": 0.8})
    other = fp.head("wedge").with_(hosel_outside_mm=13.0)
    found = {source.where for source in fp.estimate(own, other).sources}
    assert not {name for name in found if name.startswith(("library.", "inputs.grades."))}
    told = {s.where: s for s in fp.estimate(fp.grade("SCM435")).sources}["library.grades.SCM435"]
    assert "JIS" in told.reference and told.basis in BASES


@pytest.mark.parametrize("id", sorted(ranges.RANGES)[::9])
def test_a_range_warns_outside_and_is_silent_inside(id):
    r = ranges.RANGES[id]
    assert r.low < r.high and r.quantity and r.source
    span = r.high - r.low
    for value in (r.low, r.high, 0.5 * (r.low + r.high)):
        assert ranges.outside(id, value) is None
    for value in (r.low - 0.1 * span, r.high + 0.1 * span):
        warning = ranges.outside(id, value)
        assert warning.code == f"range:{id}"
        for part in (f"{value:.4g}", f"{r.low:g}", f"{r.high:g}", r.source, r.quantity[1:]):
            assert part in warning.text
    assert ranges.outside(id, float("nan")) is not None  # never silent


def work():
    """The public calls, on ordinary and on extreme input, so that every formula asks after its range."""
    rich = {"C": 0.9, "Si": 2.0, "Mn": 3.0, "Cr": 3.5, "Mo": 1.5, "Ni": 5.0, "V": 0.4, "Cu": 0.9}
    odd = fp.Steel("odd", rich, grain_size_astm=2.0)
    low = fp.Steel("low", {"C": 0.025, "Mn": 0.1})
    route = fp.Route().with_(flux=45.0, water_c=80.0, preheat_c=1250.0, strain=0.9, view_factor=0.3)
    for steel in (odd, low, fp.grade("4130")):
        for r in (route, fp.Route().with_(preheat_c=650.0), fp.Route()):
            yield fp.estimate(steel, route=r).warnings
        with warnings.catch_warnings(action="ignore"):  # these two say theirs at once
            fp.carbon_equivalents(steel), fp.tempered_hardness(steel, 50.0, 1e-4)
        yield end_quench_warnings(steel)
        yield ideal_diameter_warnings(steel, grain_size=True)
        yield fp.continuous_cooling(steel, rate_c_per_s=1.0).warnings
        yield fp.critical_temperatures(steel).warnings
    for hv in (90.0, 450.0, 700.0):
        for structure in ({"ferrite": 1.0}, {"bainite": 1.0}, {"martensite": 1.0}, None):
            yield strength(hv, structure).warnings
        yield fp.hosel_bend(hardness_hv=hv, length_mm=40.0).warnings
        yield fp.hosel_bend(hardness_hv=hv, fractions={"martensite": 1.0}, rebends=30.0).warnings
        yield fp.face_strike(1.2, hv).warnings


@pytest.fixture(scope="module")
def asked():
    """Ids that the calls looked up, and the warnings that came out."""
    found = set()

    class Watched(dict):
        def __getitem__(self, id):
            found.add(id)
            return super().__getitem__(id)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ranges, "RANGES", Watched(ranges.RANGES))
        return found, [w for group in work() for w in group]


def test_every_range_is_asked_and_warnings_are_codes_and_sentences(asked):
    found, given = asked
    assert sorted(set(ranges.RANGES) - found) == []  # listed, but nothing asks after them
    for warning in given:
        if isinstance(warning, ranges.Warn):
            assert re.fullmatch(r"[a-z]+[a-zA-Z0-9_.:\-]*", warning.code), warning.code
            assert warning.text.endswith((".", "!")) and len(warning.text) < 400
    hit = {w.code for w in given if isinstance(w, ranges.Warn) and w.code.startswith("range:")}
    assert len(hit) > 25


def test_beyond_the_possible_is_an_error_not_a_warning():
    refuses("", fp.Route().with_, preheat_c=2000.0)
    face = fp.estimate("4130", route=fp.Route().with_(flux=59.0)).zones["face"]
    assert np.isfinite(face.hardness_hv)
