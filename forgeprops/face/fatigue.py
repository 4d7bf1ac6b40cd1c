"""What a surface of one hardness takes of repeated strikes: cyclic strength, skin and life, from hardness only.

A strike is a pulse of elastic bending stress S.  Notch stresses follow Neuber's rule on the cyclic curve, the mean
stress counts by Walker's rule, and the strain-life line is held to the fatigue limit of the finish at 10⁶ strikes.
Structure enters by its hardness alone: no published life separates them at equal hardness.
"""

import functools

import numpy as np

from ..hosel.fatigue import StrainLife, cycles_to_crack, roessle_fatemi, uniform_material_law
from ..strength.tensile import YOUNGS_MPA

#: Roughness Rz of a finish, µm (our choice; 100 µm is what the guideline's own table has for rolled skin).
FINISHES = {"polished": 1.0, "ground": 6.3, "machined": 12.5, "blasted": 25.0, "as forged": 100.0}

#: Strength of a struck surface is not counted to rise above this hardness: the fatigue limit of polished bars
#: flattens near 400 HV, and the fit below ends at 380.
HELD_HV = 400.0
#: Strikes at which the fatigue limit is reached, and its standard deviation between heats, MPa.
KNEE, LIMIT_SD_MPA = 1e6, 19.0
#: Exponent of the cyclic stress-strain curve and of the plastic strain-life line.
_CYCLIC_N, _PLASTIC_C = 0.15, -0.57


def _tensile_mpa(hardness_hv):
    """Tensile strength that the laws below are written in: 3.2 HV, whatever the structure."""
    return 3.2 * np.minimum(hardness_hv, HELD_HV)


def fatigue_limit_mpa(hardness_hv, roughness_um=1.0, shift_sd=0.0):
    """Fatigue limit of a surface, amplitude fully reversed at 10⁶ cycles, MPa; floats or arrays.

    (29.8 + 1.589 HV) · [1 − 0.22 log₁₀ Rz · log₁₀(2 TS/400)], TS = 3.2 HV; 60 to 900 HV, held at `HELD_HV`; Rz in µm, 1 or
    more.  `shift_sd` moves the limit of polished bars by so many standard deviations (19 MPa).

    .. [1] 29.8 + 1.589 HV: own fit to NIMS fatigue data sheets, 360 heats; rows not bundled (our own fit).
    .. [2] Roughness: FKM guideline, analytical strength assessment (read).
    .. [3] Flat above 400 HV: Y. Murakami, Metal Fatigue (2002) (from memory).
    .. [4] TS = 3.2 HV: near ISO 18265:2013, table A.1 (from memory).
    """
    hv = np.minimum(hardness_hv, HELD_HV)
    rough = 0.22 * np.log10(max(roughness_um, 1.0))
    factor = 1.0 - rough * np.log10(np.maximum(_tensile_mpa(hv) / 200.0, 1.0))
    return (29.8 + 1.589 * hv + LIMIT_SD_MPA * shift_sd) * factor


def leaving_limit_mpa(hardness_hv, depth_um):
    """Amplitude below which a shallow crack as deep as a soft skin does not grow into the metal below, MPa.

    1.43 (HV + 120)/(√area)^(1/6), √area = √10 · depth of a long shallow surface crack.

    .. [1] Y. Murakami & M. Endo, Int. J. Fatigue 16 (1994) 163-182 (from memory).
    """
    hv = np.minimum(hardness_hv, HELD_HV)
    return 1.43 * (hv + 120.0) / (np.sqrt(10.0) * np.maximum(depth_um, 1.0)) ** (1.0 / 6.0)


def _line(hardness_hv, limit_mpa):
    """Strain-life line as pseudo-stress: sf (2N)^b + ef (2N)^c, through the limit at the knee."""
    hv = np.minimum(hardness_hv, HELD_HV)
    by_hardness, by_strength = roessle_fatemi(hv), uniform_material_law(_tensile_mpa(hv))
    sf = np.sqrt(by_hardness.strength_mpa * by_strength.strength_mpa)
    ef = YOUNGS_MPA * np.sqrt(by_hardness.ductility * by_strength.ductility)
    elastic = np.maximum(limit_mpa - ef * (2.0 * KNEE) ** _PLASTIC_C, 1.0)
    return sf, np.log(elastic / sf) / np.log(2.0 * KNEE), ef


def strain_line_mpa(hardness_hv, limit_mpa, strikes, plastic=True):
    """Strain amplitude times E that cracks half the surfaces after so many strikes, fully reversed, MPa.

    The line passes through the fatigue limit at 10⁶ and is level beyond; `plastic` False: the line through the same
    points for a crack that is there already.

    .. [1] O. H. Basquin 1910; L. F. Coffin and S. S. Manson 1954 (from memory).
    """
    sf, b, ef = _line(hardness_hv, limit_mpa)
    n = 2.0 * np.minimum(strikes, KNEE)
    if not plastic:
        b = np.log(limit_mpa / sf) / np.log(2.0 * KNEE)
        return sf * n**b
    return sf * n**b + ef * n**_PLASTIC_C


def _cyclic(target, strength, by_strain):
    """Stress on the cyclic curve: Neuber's σ² + Eσ(σ/K)^(1/n) = S², or σ + E(σ/K)^(1/n) = Eε; both left sides are convex in
    logarithms, so that Newton's steps never go astray."""
    power = 1.0 / _CYCLIC_N
    first, second = (1.0, power) if by_strain else (2.0, 1.0 + power)
    goal = np.log(target / strength) * first
    stiff = np.log(YOUNGS_MPA / strength)
    y = np.minimum(goal / first, (goal - stiff) / second)
    for _ in range(40):
        a, b = first * y, second * y + stiff
        total = np.logaddexp(a, b)
        share = np.exp(b - total)
        step = (total - goal) / (first + (second - first) * share)
        y = y - step
        if np.all(np.abs(step) < 1e-10):
            break
    return strength * np.exp(y)


def damage_mpa(hardness_hv, pulse_mpa, residual_mpa=0.0, skin_hv=None):
    """Fully reversed strain amplitude times E as damaging as pulses from 0 to S, the elastic bending stress of a strike, MPa.

    Amplitude σa from Neuber's rule on S/2, greatest stress σmax from Neuber's rule on S + residual (tension positive), both on
    the cyclic curve K' = 1.65 TS, n' = 0.15; damage = E εa (σmax/σa)^(1 − γ), γ = 0.8818 − 0.0002 TS.  A thin skin of another
    hardness follows the strains of the metal below.

    .. [1] H. Neuber, J. Appl. Mech. 28 (1961) 544 (from memory).
    .. [2] Cyclic curve: A. Bäumel & T. Seeger, Materials Data for Cyclic Loading, Suppl. 1 (1990) (from memory).
    .. [3] Mean stress: N. E. Dowling, C. A. Calhoun & A. Arcari, Fatigue Fract. Eng. Mater. Struct. 32 (2009) 163-179;
       constants (from memory).
    """
    cyclic = 1.65 * _tensile_mpa(hardness_hv)
    half, whole = 0.5 * pulse_mpa, np.maximum(pulse_mpa + residual_mpa, 0.05 * pulse_mpa)
    amplitude, top = _cyclic(half, cyclic, False), _cyclic(whole, cyclic, False)
    strain = half * half / amplitude
    surface = hardness_hv
    if skin_hv is not None:
        surface, cyclic = skin_hv, 1.65 * _tensile_mpa(skin_hv)
        top = _cyclic(whole * whole / top, cyclic, True)
        amplitude = _cyclic(strain, cyclic, True)
    walker = np.clip(0.8818 - 0.0002 * _tensile_mpa(surface), 0.4, 1.0)
    return strain * np.maximum(top / amplitude, 0.3) ** (1.0 - walker)


def secant(miss_of, x, slope, slopes, most, close, ends=(-np.inf, np.inf)):
    """Root of a rising function of arrays: steps of at most `most`, slopes held within `slopes`, `slope` the first."""
    older = at_older = None
    for _ in range(40):
        miss = miss_of(x)
        if np.all(np.abs(miss) < close):
            break
        steep = slope
        if older is not None:
            run = x - older
            steep = np.where(run == 0.0, slope, (miss - at_older) / np.where(run == 0.0, 1.0, run))
        older, at_older = x, miss
        x = np.clip(x - np.clip(miss / np.clip(steep, *slopes), -most, most), *ends)
    return x


def _pulse(hardness_hv, wanted, residual_mpa, skin_hv=None):
    """Pulse whose damage is `wanted`; in logarithms damage is nearly a power of the pulse."""
    goal = np.log(wanted)

    def miss(x):
        return np.log(damage_mpa(hardness_hv, np.exp(x), residual_mpa, skin_hv)) - goal

    return np.exp(secant(miss, goal + 0.3, 1.5, (0.5, 4.0), 1.0, 1e-9))


# ---- tables: a strike's capacity is a function of hardness (and skin) once finish and number are chosen ----

_HV = np.r_[np.arange(60.0, 400.0, 10.0), 400.0]
_SKIN_HV = np.geomspace(60.0, 400.0, 20)
_DEPTH_UM = np.geomspace(2.0, 2000.0, 24)


@functools.lru_cache(maxsize=64)
def _whole(roughness_um: float, strikes: float, residual_mpa: float, shift_sd: float):
    limit = fatigue_limit_mpa(_HV, roughness_um, shift_sd)
    return _pulse(_HV, strain_line_mpa(_HV, limit, strikes), residual_mpa)


@functools.lru_cache(maxsize=64)
def _skins(roughness_um: float, strikes: float, residual_mpa: float, shift_sd: float):
    """Capacity against a crack that starts in a skin (by skin hardness) and that leaves it (by depth)."""
    core, skin = _HV[:, None], np.minimum(_SKIN_HV, _HV[:, None])
    limit = fatigue_limit_mpa(skin, roughness_um, shift_sd)
    start = _pulse(core, strain_line_mpa(skin, limit, strikes), residual_mpa, skin)
    sound = fatigue_limit_mpa(core, roughness_um, shift_sd)
    limit = np.minimum(leaving_limit_mpa(core, _DEPTH_UM), sound)
    leave = _pulse(core, strain_line_mpa(core, limit, strikes, plastic=False), residual_mpa)
    return start, leave


def _between(table, axis, rows, hardness):
    """Bilinear interpolation of a table over hardness (rows) and a second quantity."""
    hv = np.clip(hardness, _HV[0], HELD_HV)
    i = np.clip(np.searchsorted(_HV, hv, side="right") - 1, 0, _HV.size - 2)
    u = (hv - _HV[i]) / (_HV[i + 1] - _HV[i])
    x = np.clip(rows, axis[0], axis[-1])
    j = np.clip(np.searchsorted(axis, x, side="right") - 1, 0, axis.size - 2)
    v = np.log(x / axis[j]) / np.log(axis[j + 1] / axis[j])
    low = table[i, j] + v * (table[i, j + 1] - table[i, j])
    high = table[i + 1, j] + v * (table[i + 1, j + 1] - table[i + 1, j])
    return low + u * (high - low)


def capacity_mpa(
    hardness_hv, roughness_um, strikes, residual_mpa=0.0, shift_sd=0.0, skin_hv=None, skin_um=None
):
    """Greatest pulse of elastic stress that half the surfaces take so many times, MPa; the inverse of `damage_mpa`.

    From tables over hardness, straight between points 10 HV apart (to 0.1 %); no gain is counted above `HELD_HV`.  In a soft
    skin (HV, µm) a crack must start, and leave it: min(whole, max(start, leave)).

    .. [1] A crack counts when it has started in the skin and left it (our choice).
    """
    given = (float(roughness_um), float(strikes), float(residual_mpa), float(shift_sd))
    hv = np.clip(np.asarray(hardness_hv, dtype=float), _HV[0], HELD_HV)
    whole = np.interp(hv, _HV, _whole(*given))
    if skin_hv is None:
        return whole
    start, leave = _skins(*given)
    begins = _between(start, _SKIN_HV, np.minimum(skin_hv, hv), hv)
    skinned = np.maximum(begins, _between(leave, _DEPTH_UM, skin_um, hv))
    soft = (np.asarray(skin_um) >= _DEPTH_UM[0]) & (skin_hv < hv)
    return np.where(soft, np.minimum(whole, skinned), whole)


def life(hardness_hv, roughness_um, pulse_mpa, residual_mpa=0.0, skin_hv=None, skin_um=None):
    """Strikes after which half the surfaces are cracked by such pulses; infinite below the fatigue limit; see `capacity_mpa`."""
    hv = np.asarray(hardness_hv, dtype=float)
    limit, damage = fatigue_limit_mpa(hv, roughness_um), damage_mpa(hv, pulse_mpa, residual_mpa)
    whole = _strikes_of(*_line(hv, limit), damage)
    if skin_hv is None:
        return whole
    skin = np.minimum(skin_hv, hv)
    harm = damage_mpa(hv, pulse_mpa, residual_mpa, skin)
    start = _strikes_of(*_line(skin, fatigue_limit_mpa(skin, roughness_um)), harm)
    leaving = np.minimum(leaving_limit_mpa(hv, skin_um), limit)
    sf, _, _ = _line(hv, limit)
    b = np.log(leaving / sf) / np.log(2.0 * KNEE)
    leave = np.where(damage <= leaving, np.inf, 0.5 * (damage / sf) ** (1.0 / b))
    soft = (np.asarray(skin_um) >= _DEPTH_UM[0]) & (np.asarray(skin_hv) < hv)
    return np.where(soft, np.minimum(whole, np.maximum(start, leave)), whole)


def _strikes_of(sf, b, ef, damage):
    """Strikes at which the line sf (2N)^b + ef (2N)^c has come down to `damage`; infinite below the limit."""
    n = cycles_to_crack(StrainLife(sf, b, ef / YOUNGS_MPA, _PLASTIC_C), damage / YOUNGS_MPA)
    return np.where(n >= KNEE * (1.0 - 1e-9), np.inf, n)
