"""Carbon diffusion (Ågren's formula) against printed figures."""

import pytest

from forgeprops.base.tables import read_rows
from forgeprops.forging.decarburisation import carbon_diffusivity

#: 2.3e-5 exp(-148000/RT), Callister's data as quoted in two problem pages: dilute carbon; and 1.5e-5 exp(-135000/RT), quoted
#: for about 0.7-0.8 % C: °C, wt%, m²/s, relative limit.
ARRHENIUS = [
    (850, 0, 3.01e-12, 0.06),
    (950, 0, 1.10e-11, 0.06),
    (1100, 0, 5.39e-11, 0.06),
    (950, 0.8, 2.58e-11, 0.02),
]
#: A second evaluation of the formula.
SECOND = [
    (*map(float, (r["temperature_c"], r["carbon"], r["diffusivity_m2_s"])), 0.01)
    for r in read_rows("validation/carbon_diffusivity_check.csv")
]


@pytest.mark.parametrize("t_c, carbon, expected, rel", ARRHENIUS + SECOND)
def test_diffusivity(t_c, carbon, expected, rel):
    assert carbon_diffusivity(float(t_c), float(carbon)) == pytest.approx(expected, rel=rel)
