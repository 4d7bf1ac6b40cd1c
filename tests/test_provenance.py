"""Every formula names its source and basis in its docstring; an estimate names those it used."""

import ast
import re
from pathlib import Path

import pytest

import forgeprops as fp
from forgeprops.base.sources import BASES, counted, references, sources
from forgeprops.base.tables import data_path, read_rows

PACKAGE = Path(fp.__file__).parent
#: Rooms of formulas: every public function of theirs with arithmetic of its own must name its source.
FORMULA_ROOMS = (
    "hardenability", "transformation", "forging", "thermal", "strength", "hosel", "face",
)  # fmt: skip
#: Solvers, reference forms and translations; each constant of theirs is a tolerance or stands elsewhere.
BOOKKEEPING = (
    "spray_film_laws_w_m2k end_quench_warnings strength strength_of small_patch_mm aged"
).split()


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
    missing = [
        f"{path.relative_to(PACKAGE)}: {node.name} {list(coefficients(node))[:3]}"
        for path, node in bare
        if node.name not in BOOKKEEPING and any(coefficients(node))
    ]
    assert not missing, missing


def test_sources_are_whole_and_public():
    assert len(sources()) > 150
    for source in sources():
        assert source.basis in BASES and source.what and len(source.reference) > 10, source
        assert not re.search(r"\w\.(com|de|net)\b|scribd|stored text", source.reference), source
        for file in re.findall(r"\b(?:data|tests)/[\w./]*\w", source.reference):
            assert (data_path().parent / file).is_file(), f"{source.where}: {file} does not exist"


def test_an_entry_without_basis_is_a_mistake():
    doc = "Ae3.\n\nReferences\n----------\n.. [1] K. W. Andrews 1965.\n"
    with pytest.raises(ValueError, match="does not end with its basis"):
        references(doc, "room.formula")


def tables():
    for path in sorted(data_path().rglob("*.csv")):
        name = path.relative_to(data_path()).as_posix()
        if not name.startswith("demo/"):
            yield name


@pytest.mark.parametrize("name", list(tables()))
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


def test_count_by_basis(capsys):
    """What the numbers rest on; shown with -s."""
    with capsys.disabled():
        print(f"\n{counted(sources())}")
    assert counted(sources()).startswith(f"{len(sources())} sources: ")


def where(**settings):
    result = fp.estimate(fp.grade("1030"), "mid-iron", fp.Route().with_(**settings))
    return {source.where for source in result.sources}


def test_sources_follow_the_route():
    wet = where()
    for name in (
        "thermal.spray.spray_w_m2k transformation.kinetics.ln_composition_factors transformation.temperature_formulas.ae3_grange "
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


def test_sources_follow_steel_and_head():
    own = fp.Steel("own", {"C": 0.2, "Mn": 0.8})
    other = fp.head("wedge").with_(hosel_outside_mm=13.0)
    found = {source.where for source in fp.estimate(own, other).sources}
    assert not {name for name in found if name.startswith(("library.", "inputs.grades."))}
    told = {s.where: s for s in fp.estimate(fp.grade("SCM435")).sources}["library.grades.SCM435"]
    assert "JIS" in told.reference and told.basis in BASES
