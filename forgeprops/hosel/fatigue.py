"""How often a hosel can be bent there and back before it cracks: low-cycle fatigue from hardness.

Strain amplitude ea = (sf/E)(2N)^b + ef (2N)^c, N cycles to a crack of a smooth bar (Coffin–Manson–Basquin).
Two published ways to its constants stand side by side; their geometric mean counts.
"""

import dataclasses
import math
from typing import NamedTuple

import numpy as np

from ..base.constants import YOUNGS_MPA
from ..strength.hardness_scales import convert_array
from ..strength.tensile import Strength, flow_curve

#: Factor on cycles to a crack between the median of smooth bars and the weakest tenth of hosels: 10^(1.28 sd),
#: sd of log life √(0.20² + 0.35²) from the laboratory's scatter and from a curve estimated from hardness (from
#: memory; nobody has measured hosels).
SCATTER_FACTOR = 3.3

#: Stress concentration of a stamp, the end of the bore or the crotch (our choice).
NOTCH = 2.0

#: Outer strain of cold forming that un-heat-treated carbon steel takes without re-heating, and the reduction of
#: area and hardening exponent that such steel has (our choice).
COLD_STRAIN, COLD_RA, COLD_N = 0.05, 0.60, 0.17

#: Elastic share of the range of a bend there and back, in yield strains: springback of a tube that has flowed
#: (derived).
RETURN_STRAINS = 1.2

#: What ageing adds to the flow stress of low-carbon steel after a bend, MPa (30–60, from memory).
AGEING_MPA = 40.0


class StrainLife(NamedTuple):
    """Constants of one strain–life curve; each may be a float or an array."""

    strength_mpa: float  # elastic part: fatigue strength coefficient and exponent
    b: float
    ductility: float  # plastic part: fatigue ductility coefficient and exponent
    c: float


def roessle_fatemi(hardness_hv, youngs_mpa=YOUNGS_MPA) -> StrainLife:
    """Constants from hardness: sf = 4.25 HB + 225 MPa, ef = (0.32 HB² − 487 HB + 191 000)/E.

    Exponents b = −0.09, c = −0.56; HB by `hardness_scales`.

    .. [1] M. L. Roessle & A. Fatemi, Int. J. Fatigue 22 (2000) 495-511 (read).
    """
    hb, _ = convert_array(hardness_hv, "HV", "HB")
    ductility = (0.32 * hb * hb - 487.0 * hb + 191_000.0) / youngs_mpa
    return StrainLife(4.25 * hb + 225.0, -0.09, ductility, -0.56)


def uniform_material_law(tensile_mpa, youngs_mpa=YOUNGS_MPA) -> StrainLife:
    """Constants from tensile strength of un- and low-alloy steel: sf = 1.5 TS, ef = 0.59 psi.

    Exponents b = −0.087, c = −0.58; psi = 1 up to TS/E = 0.003, above it 1.375 − 125 TS/E (held at 0.1,
    where 2080 MPa would make it fall below).

    .. [1] A. Bäumel & T. Seeger, Materials Data for Cyclic Loading, Suppl. 1 (1990) (from memory).
    """
    tensile = np.asarray(tensile_mpa, dtype=float)
    psi = np.clip(1.375 - 125.0 * tensile / youngs_mpa, 0.1, 1.0)
    return StrainLife(1.5 * tensile, -0.087, 0.59 * psi, -0.58)


def strain_amplitude(life: StrainLife, cycles):
    """Strain amplitude that cracks a smooth bar after N cycles.

    .. [1] O. H. Basquin 1910; L. F. Coffin and S. S. Manson 1954 (from memory).
    """
    reversals = 2.0 * np.asarray(cycles, dtype=float)
    return life.strength_mpa / YOUNGS_MPA * reversals**life.b + life.ductility * reversals**life.c


def cycles_to_crack(life: StrainLife, amplitude):
    """Cycles to a crack at a strain amplitude (inverse of `strain_amplitude`, Newton in logarithms)."""
    target = np.log(np.asarray(amplitude, dtype=float))
    # the plastic part alone gives too few cycles, and the curve is convex in logarithms: Newton never overshoots
    x = (target - np.log(life.ductility)) / life.c
    for _ in range(60):
        elastic = life.strength_mpa / YOUNGS_MPA * np.exp(life.b * x)
        plastic = life.ductility * np.exp(life.c * x)
        total = elastic + plastic
        step = (np.log(total) - target) * total / (life.b * elastic + life.c * plastic)
        x = x - step
        if np.all(np.abs(step) < 1e-12):
            break
    return 0.5 * np.exp(x)


def allowed_amplitude(hardness_hv, tensile_mpa, cycles, scatter_factor=SCATTER_FACTOR):
    """Strain amplitude allowed for so many cycles, scatter factor taken off: geometric mean of both methods.

    Neither is known to be nearer for hosels; they differ by 5–25 %, which the scatter factor covers many times.

    .. [1] Geometric mean of both curves; scatter of log life 0.20 and 0.35 (our choice).
    """
    n = np.asarray(cycles, dtype=float) * scatter_factor
    laws = roessle_fatemi(hardness_hv), uniform_material_law(tensile_mpa)
    return np.sqrt(math.prod(strain_amplitude(law, n) for law in laws))


def notch_strain_factor(hardening_exponent, notch=NOTCH):
    """Strain at a notch over that of the plain section when the section flows: Kt^(2/(1 + n)).

    >>> round(float(notch_strain_factor(0.17)), 2)
    3.27

    .. [1] H. Neuber, J. Appl. Mech. 28 (1961) 544, on a power law (derived).
    """
    return notch ** (2.0 / (1.0 + hardening_exponent))


def bending_strain(reduction_of_area):
    """Outer strain at the first crack of a plain bend, from the reduction of area (0.02 to 0.8).

    1/(1 + 2 R/t), R/t = (100 − r)²/(200 r − r²), r in per cent.  The source has 50/r − 1 up to 20 %, which is up to
    16 % less and would leave a step; the one line is the cautious one.

    .. [1] J. Datsko & C. T. Yang, J. Eng. Ind. 82 (1960) 309-314 (from memory).
    """
    r = 100.0 * np.clip(reduction_of_area, 0.02, 0.8)
    return 1.0 / (1.0 + 2.0 * (100.0 - r) ** 2 / (200.0 * r - r * r))


def crack_strain(reduction_of_area, hardening_exponent, notch=NOTCH, cold_strain=COLD_STRAIN):
    """Outer strain under load to which one cold bend is limited, for unseen notches and later strikes.

    5 % · min(1, [e_b(RA)/K(n)]/[e_b(0.60)/K(0.17)]) with the bending strain e_b and the notch factor K on strain.
    A sound bar bends further: mild sheet folds flat (ASTM A1083, read). A limit, not a forecast of a crack.

    >>> round(float(crack_strain(0.65, 0.16)), 3), round(float(crack_strain(0.42, 0.09)), 3)
    (0.05, 0.031)

    .. [1] 5 %, borrowed for hosels: cold forming of tube without re-heating, ASME I PG-20.1.1, as described
       on an engineering page (read).
    """
    takes = bending_strain(reduction_of_area) / notch_strain_factor(hardening_exponent, notch)
    usual = bending_strain(COLD_RA) / notch_strain_factor(COLD_N)
    return cold_strain * np.minimum(takes / usual, 1.0)


def miner_damage(hardness_hv, tensile_mpa, strain_ranges, scatter_factor=SCATTER_FACTOR) -> float:
    """Share of life used by single bends of given strain ranges (each: half a cycle of half that amplitude).

    .. [1] A. Palmgren 1924; M. A. Miner 1945 (from memory).
    """
    ranges = np.asarray(strain_ranges, dtype=float)
    if ranges.size == 0:
        return 0.0
    laws = roessle_fatemi(hardness_hv), uniform_material_law(tensile_mpa)
    lives = np.sqrt(math.prod(cycles_to_crack(law, ranges / 2.0) for law in laws))
    return float(np.sum(0.5 * scatter_factor / lives))


def aged(material: Strength, strain: float) -> Strength:
    """Strength after a bend and strain ageing: yield at the flow stress of half the strain, plus ageing."""
    half = 0.5 * strain  # mean over the section, roughly
    elastic = material.yield_mpa / material.curve.youngs_mpa
    raised = float(material.curve.stress_mpa(half + elastic)) + AGEING_MPA
    tensile = max(material.tensile_mpa + 0.5 * AGEING_MPA, 1.02 * raised)
    uniform = max(material.uniform_elongation - half, 0.3 * material.uniform_elongation)
    curve = flow_curve(raised, tensile, uniform, material.yield_plateau_strain)
    new = {"yield_mpa": raised, "tensile_mpa": tensile, "uniform_elongation": uniform}
    return dataclasses.replace(material, curve=curve, **new)
