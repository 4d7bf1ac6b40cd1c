"""Critical temperatures and hardness held against figures printed or computed elsewhere."""

import numpy as np
import pytest

from forgeprops.base.tables import read_rows
from forgeprops.transformation.temperature_formulas import FORMULAS
from forgeprops.transformation.temperatures import ae1_c, ae3_c, bainite_start_c, martensite_start_c

#: Ae3 of Grange against a phase-diagram calculation with an open thermodynamic description of Fe-C-X, °C.
COMPUTED_AE3 = [
    ({"C": 0.20}, 833), ({"C": 0.40}, 785), ({"C": 0.20, "Mn": 0.45, "Si": 0.25}, 829),
    ({"C": 0.25, "Mn": 0.45, "Si": 0.25}, 817), ({"C": 0.45, "Mn": 0.75, "Si": 0.25}, 765),
    ({"C": 0.40, "Mn": 0.88, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}, 773),
    ({"C": 0.20, "Mn": 0.80, "Si": 0.25, "Ni": 0.55, "Cr": 0.50, "Mo": 0.20}, 805),
    ({"C": 0.40, "Mn": 0.70, "Si": 0.25, "Ni": 1.8, "Cr": 0.80, "Mo": 0.25}, 745)]  # fmt: skip


def test_ae3_against_computed_equilibrium():
    """Grange is the best of those offered."""
    methods = ("grange", "andrews", "andrews_long", "eldis")
    error = {m: [abs(ae3_c(c, method=m) - t) for c, t in COMPUTED_AE3] for m in methods}
    assert max(error["grange"]) < 15.0 and max(abs(ae3_c(c) - t) for c, t in COMPUTED_AE3) < 15.0
    mean = {m: np.mean(e) for m, e in error.items()}
    assert min(mean, key=mean.get) == "grange" and mean["grange"] < 8.0


def test_eutectoid_temperature_723_of_andrews_and_723_of_grange():
    """Gorni's handbook: Andrews' intercept is 723 °C, Grange's 1333 °F = 722.8 °C."""
    assert ae1_c({"C": 0.8}, "andrews") == 723.0
    assert ae1_c({"C": 0.8}, "grange") == pytest.approx(722.8, abs=0.05)


def test_starts_of_cr_mo_steels():
    """30CrMo, undeformed (abstract at discovery.researcher.life, topic 19288878); mid-range content."""
    steel = {"C": 0.30, "Si": 0.25, "Mn": 0.55, "Cr": 0.95, "Mo": 0.20}
    assert martensite_start_c(steel) == pytest.approx(391, abs=15)
    # Four rows of the collection of Schuscha et al., Acta Mater. (2025), 10.1016/j.actamat.2025.121131.
    rows = [
        ({"C": 0.41, "Mn": 0.67, "Si": 0.23, "Ni": 0.20, "Cr": 1.01, "Mo": 0.23}, 570),
        ({"C": 0.38, "Mn": 0.55, "Si": 0.33, "Ni": 0.16, "Cr": 1.25, "Mo": 0.31}, 550),
        ({"C": 0.50, "Mn": 0.80, "Si": 0.32, "Ni": 0.11, "Cr": 1.04, "Mo": 0.24}, 535),
        ({"C": 0.26, "Mn": 0.55, "Si": 0.21, "Ni": 0.25, "Cr": 3.34, "Mo": 0.54}, 450),
    ]
    for comp, bs in rows:
        assert bainite_start_c(comp) == pytest.approx(bs, abs=30.0)
    # 656 - 75 Si of the one is the 637 of the other (read separately).
    comp = {"C": 0.3, "Si": 0.25, "Mn": 0.8, "Ni": 0.5, "Cr": 0.9, "Mo": 0.2}
    assert FORMULAS["bs"]["li"](comp) == pytest.approx(FORMULAS["bs"]["kirkaldy"](comp), abs=1.0)


def test_errors_of_the_published_ms_formulas_on_the_open_set():
    """The ranking that makes van Bohemen's formula the base of ours; 527 steels."""
    rows = read_rows("measured/martensite_start.csv")
    elements = ("C", "Si", "Mn", "Ni", "Cr", "Mo", "V", "Cu")
    comp = {s: np.array([float(r[s]) for r in rows]) for s in elements}
    ms = np.array([float(r["ms_c"]) for r in rows])
    expected = {
        "van_bohemen": 17.1, "capdevila": 18.0, "andrews": 19.1, "andrews_product": 20.5,
        "steven_haynes": 21.3, "trzaska": 16.4}  # fmt: skip
    for method, error in expected.items():
        found = np.abs(FORMULAS["ms"][method](comp) - ms).mean()
        assert found == pytest.approx(error, abs=0.06), method
