"""Carbon diffusion against printed figures: Ågren's formula, a textbook carburising example."""

import numpy as np
import pytest
from reference.carbon_profile import carbon_profile, diffusion_time_s

from forgeprops.base.tables import read_rows
from forgeprops.forging.decarburisation import carbon_diffusivity


@pytest.mark.parametrize("row", read_rows("validation/carbon_diffusivity_check.csv"), ids=lambda r: f"{r['temperature_c']}-{r['carbon']}")  # fmt: skip
def test_diffusivity_against_a_second_evaluation(row):
    t_c, carbon, d = (float(row[c]) for c in ("temperature_c", "carbon", "diffusivity_m2_s"))
    assert carbon_diffusivity(t_c, carbon) == pytest.approx(d, rel=0.01)


@pytest.mark.parametrize("t_c, low", [(850.0, 3.01e-12), (950.0, 1.10e-11), (1100.0, 5.39e-11)])
def test_dilute_limit_agrees_with_the_arrhenius_data(t_c, low):
    # 2.3e-5 exp(-148000/RT), Callister's data as quoted in two problem pages: dilute carbon
    assert carbon_diffusivity(t_c, 0.0) == pytest.approx(low, rel=0.06)


def test_carburising_grade_agrees_with_the_rich_data():
    # 1.5e-5 exp(-135000/RT) is quoted for about 0.7-0.8 % C: 2.58e-11 at 950 °C
    assert carbon_diffusivity(950.0, 0.8) == pytest.approx(2.58e-11, rel=0.02)


def test_callister_example_5_2_time():
    # 0.25 % C steel, 1.20 % at the surface, D 1.6e-11 m²/s: 0.80 % at 0.5 mm after 7.1 h (book)
    hours = diffusion_time_s(500.0, 1.6e-11, 0.25, 1.20, 0.80) / 3600.0
    assert hours == pytest.approx(7.1, rel=0.02)


def test_callister_example_5_2_by_the_numerical_profile():
    def d(temperature_c, carbon):
        return np.full(np.broadcast(np.asarray(temperature_c), np.asarray(carbon)).shape, 1.6e-11)

    p = carbon_profile(0.25, [0.0, 7.1 * 3600.0], [950.0, 950.0], 1.20, None, d)
    assert float(np.interp(500.0, p.depth_um, p.carbon)) == pytest.approx(0.80, abs=0.005)
