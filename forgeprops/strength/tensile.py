"""Strength, ductility and the flow curve from hardness and structure, with standard errors.

Three branches, blended by the shares of the structure (no jumps), and one for an unknown structure:

=========================  ======================================  ===================================
branch                     tensile strength                        yield strength
=========================  ======================================  ===================================
``quenched and tempered``  3.12 HV (360 heats)                     −130 + 0.99 tensile (20 rows)
``bainite``                3.28 HV (two rows: weak)                0.66 tensile (two rows: weak)
``ferrite-pearlite``       58 + 2.87 HV (22 rows)                  198 + 0.96 HV (22 rows)
``all data``               −99.8 + 3.734 HV (Pavlina & Van Tyne)   −90.7 + 2.876 HV (the same)
=========================  ======================================  ===================================

Constants and where each comes from stand in ``data/fits/strength_fits.csv``.  Strains are fractions, not per cent.
"""

import dataclasses
import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..base.arrays import plain
from ..base.constants import YOUNGS_MPA
from ..base.errors import InputError, check_choice, check_kind, check_number
from ..base.ranges import Warn, outside
from ..base.tables import read_rows
from .hardness_scales import convert_array

#: Branches of the hardness–strength link, with their ranges.
RANGE_OF = {"quenched and tempered": "strength_qt", "bainite": "strength_b"}
RANGE_OF |= {"ferrite-pearlite": "strength_fp", "all data": "strength_all"}
BRANCHES = tuple(RANGE_OF)
#: Those with a share in the structure, in the order of the shares, and the share from which the range of one counts.
_SHARED, RANGE_SHARE = ("ferrite-pearlite", "bainite", "quenched and tempered"), 0.3
#: Sum of the shares of everything but austenite below which the structure counts as unknown.
NOTHING_BUT_AUSTENITE = 1e-6


@functools.cache
def _constants() -> dict[str, float]:
    return {r["id"]: float(r["value"]) for r in read_rows("fits/strength_fits.csv")}


@dataclass(frozen=True)
class FlowCurve:
    """True stress over true strain: elastic, plateau at yield, then a power law that rises from the plateau.

    stress = E·e up to yield; = yield up to ``hardening_starts``; then yield + K (e − hardening_starts)^m.
    Every field may be a float or an array of one shape.
    """

    youngs_mpa: float
    yield_mpa: float
    plateau_strain: float  #: length of the yield plateau (0: none)
    hardening_mpa: float  #: K and m of the rising part
    hardening_power: float

    @property
    def hardening_starts(self):
        """True strain at which the stress begins to rise above yield."""
        return self.yield_mpa / self.youngs_mpa + self.plateau_strain

    def stress_mpa(self, strain):
        """True stress at a true strain (odd: compression mirrors tension), MPa."""
        e = np.abs(strain)
        rise = np.maximum(e - self.hardening_starts, 0.0)
        flat = np.minimum(self.youngs_mpa * e, self.yield_mpa)
        return np.sign(strain) * (flat + self.hardening_mpa * rise**self.hardening_power)


def flow_curve(
    yield_mpa, tensile_mpa, uniform_elongation, plateau_strain=0.0, youngs_mpa=YOUNGS_MPA
) -> FlowCurve:
    """Flow curve through yield, tensile strength and uniform elongation; floats or arrays.

    The rising part passes through the true tensile point, S = TS (1 + Au) at e_u = ln(1 + Au), with the slope of Considère's
    rule (slope = stress, so that the load is greatest there): m = S (e_u − e_1)/(S − YS), K = (S − YS)/(e_u − e_1)^m.

    .. [1] A. Considère 1885; P. Ludwik 1909 (from memory).
    .. [2] Young's modulus 205 GPa (from memory).
    """
    true_stress = tensile_mpa * (1.0 + uniform_elongation)
    true_strain = np.log1p(uniform_elongation)
    # a plateau can never take more than half the uniform strain, nor yield reach the tensile point
    plateau = np.minimum(plateau_strain, 0.5 * true_strain)
    starts = yield_mpa / youngs_mpa + plateau
    rise = np.maximum(true_strain - starts, 0.1 * true_strain)
    gain = np.maximum(true_stress - yield_mpa, 0.01 * true_stress)
    # m stays below 1 by itself unless the numbers contradict each other (very short uniform elongation)
    power = np.minimum(true_stress * rise / gain, 1.0)
    made = youngs_mpa, yield_mpa, plateau, gain / rise**power, power
    return FlowCurve(*(plain(x) for x in made))


@dataclass(frozen=True)
class Strength:
    """What hardness and structure say of the tension test; ``_se``: standard errors (one standard deviation)."""

    hardness_hv: float
    yield_mpa: float  #: 0.2 % proof, or lower yield
    tensile_mpa: float
    uniform_elongation: float  #: at maximum load; a fraction, as the next four
    elongation: float  #: in 50 mm after fracture
    hardening_exponent: float  #: true uniform strain, ln(1 + Au); by Considère also Hollomon's n
    reduction_of_area: float
    yield_plateau_strain: float  #: length of the yield plateau
    yield_se_mpa: float
    tensile_se_mpa: float
    uniform_elongation_se: float
    elongation_se: float
    hardening_exponent_se: float
    reduction_of_area_se: float
    yield_plateau_strain_se: float
    branch: str  #: or "blend" of several
    curve: FlowCurve = dataclasses.field(repr=False)
    warnings: tuple[Warn, ...] = ()


def strength_arrays(
    hardness_hv, ferrite_pearlite_share=0.0, bainite_share=0.0, martensite_share=0.0
) -> dict[str, np.ndarray]:
    """Strength of many cases at once: one array per field of `Strength` (without branch, curve and warnings).

    Hardness 60 to 900 HV.  The shares of the structure are scaled to a sum of 1 (retained austenite is left out); where
    all are 0 the structure is unknown and the regression of all data is taken.

    Uniform elongation is a mean (of inverse squares) of two estimates: 0.60 (1 − YS/TS), and 0.55 of the total
    elongation.  The first alone gives bainite more than its total elongation (yield/tensile 0.64 and 17.7 % for
    normalised 4140), the second ignores the yield ratio; their gap enters the standard error.

    .. [1] Tensile strength 3.12 HV, quenched and tempered: ratio of two fits to NIMS fatigue data sheets, 360
       heats (derived).
    .. [2] All structures: E. J. Pavlina & C. J. Van Tyne, J. Mater. Eng. Perform. 17 (2008) 888, table 1 (read).
    .. [3] Ferrite-pearlite, bainite (two rows), yield, elongation, reduction of area: own lines through 46
       handbook rows, 20 of them from memory (data/validation/handbook_properties.csv, data/fits/strength_fits.csv)
       (our own fit).
    .. [4] Uniform strain 0.60 (1 - yield/tensile): ASME BPVC VIII Div. 2 Annex 3-D and Div. 3 KM-620 (read).
    .. [5] Uniform elongation 0.55 of the total; yield plateau of 1 to 2 % in normalised low-carbon steel (from
       memory).
    """
    k = _constants()
    given = (hardness_hv, ferrite_pearlite_share, bainite_share, martensite_share)
    given = (np.atleast_1d(np.asarray(x, dtype=float)) for x in given)
    hv, fp, b, m = np.broadcast_arrays(*given)
    total = fp + b + m
    known = total > NOTHING_BUT_AUSTENITE
    scale = np.where(known, 1.0 / np.where(known, total, 1.0), 0.0)
    fp, b, m, unknown = fp * scale, b * scale, m * scale, np.where(known, 0.0, 1.0)

    def line(name, x):
        return k[f"{name}_intercept"] + k[f"{name}_slope"] * x

    fp_ts, fp_ys = line("fp_tensile", hv), line("fp_yield", hv)
    # below the softest row (117 HV) the yield line would pass the tensile line
    fp_ys = np.minimum(fp_ys, 0.85 * fp_ts)
    b_ts, m_ts = k["b_tensile_slope"] * hv, k["qt_tensile_slope"] * hv
    all_ts = line("all_tensile", hv)
    b_ys, all_ys = k["b_yield_ratio"] * b_ts, line("all_yield", hv)
    # 0.97 holds above the hardest row (537 HV), where the line would pass the tensile strength; 0.5 below
    # 85 HV
    m_ys = np.clip(line("qt_yield", m_ts), 0.5 * m_ts, 0.97 * m_ts)

    def mix(a_fp, a_b, a_m, a_all):
        return fp * a_fp + b * a_b + m * a_m + unknown * a_all

    tensile, yield_ = mix(fp_ts, b_ts, m_ts, all_ts), mix(fp_ys, b_ys, m_ys, all_ys)
    b_ts_se, m_ts_se = k["b_tensile_se_share"] * b_ts, k["qt_tensile_se_share"] * m_ts
    tensile_se = mix(k["fp_tensile_se"], b_ts_se, m_ts_se, k["all_tensile_se"])
    b_ys_se = b_ts * np.hypot(k["b_yield_ratio_se"], k["b_yield_ratio"] * k["b_tensile_se_share"])
    # its line is one of the tensile strength, which is itself in error
    m_ys_se = np.hypot(k["qt_yield_se"], k["qt_yield_slope"] * k["qt_tensile_se_share"] * m_ts)
    yield_se = mix(k["fp_yield_se"], b_ys_se, m_ys_se, k["all_yield_se"])
    # the published regression of all steels is no guide below 90 HV: hold it above what pure iron has
    tensile, yield_ = np.maximum(tensile, 200.0), np.maximum(yield_, 100.0)

    ln_elongation = k["elongation_ln_intercept"] + k["elongation_ln_slope"] * tensile
    elongation = np.exp(ln_elongation) / 100.0
    by_ratio = k["uniform_asme"] * (1.0 - yield_ / tensile)
    by_elongation = np.log1p(k["uniform_share"] * elongation)
    # mean of the inverse squares: never above √2 of the lesser, so never above 0.78 of the total elongation
    exponent = np.sqrt(2.0 / (by_ratio**-2.0 + by_elongation**-2.0))
    # the two estimates disagree by a known factor; each alone is good to about a fifth (our estimate)
    exponent_se = exponent * np.hypot(0.20, 0.5 * np.log(by_ratio / by_elongation))
    hb, _ = convert_array(hv, "HV", "HB")
    ra_fp, ra_qt = line("fp_reduction", hb), line("qt_reduction", hb)
    between = 0.5 * (ra_fp + ra_qt)
    reduction = np.clip(mix(ra_fp, between, ra_qt, between), 5.0, 80.0) / 100.0
    apart = 0.5 * np.abs(ra_qt - ra_fp)
    unsure = np.hypot(k["fp_reduction_se"], apart)
    reduction_se = mix(k["fp_reduction_se"], unsure, k["qt_reduction_se"], unsure) / 100.0
    ramp = np.clip((fp - k["plateau_none_below"]) / (1.0 - k["plateau_none_below"]), 0.0, 1.0)
    plateau = k["plateau_strain"] * ramp * ramp * (3.0 - 2.0 * ramp)
    values = (hv, yield_, tensile, np.expm1(exponent), elongation, exponent, reduction, plateau)
    elongation_se, uniform_se = elongation * k["elongation_ln_se"], np.exp(exponent) * exponent_se
    errors = yield_se, tensile_se, uniform_se, elongation_se, exponent_se, reduction_se
    errors += (plateau / 3.0,)  # 1 to 2 % about 1.5 %
    return dict(zip(_QUANTITIES, (*values, *errors), strict=True))


#: Fields of `Strength` that are numbers, in their order.
_QUANTITIES = [f.name for f in dataclasses.fields(Strength)][:15]
_CONSTITUENTS = ("ferrite", "pearlite", "bainite", "martensite", "austenite")


def structure_shares(fractions: Mapping[str, float]) -> tuple[float, float, float]:
    """Shares of ferrite–pearlite, bainite and martensite of a structure; retained austenite is left out."""
    check_kind(fractions, Mapping, "fractions")
    clean = dict.fromkeys(_CONSTITUENTS, 0.0)
    for name, value in fractions.items():
        name = check_choice(name, "constituent", _CONSTITUENTS)
        # a march may leave a share a rounding error below 0
        clean[name] = max(check_number(value, f"share of {name}", -1e-6, 1.0 + 1e-6), 0.0)
    fp, b, m = clean["ferrite"] + clean["pearlite"], clean["bainite"], clean["martensite"]
    if fp + b + m <= NOTHING_BUT_AUSTENITE:
        need = "at least one of ferrite, pearlite, bainite and martensite above 0"
        raise InputError(f"fractions must hold {need}; got {dict(fractions)}.")
    return fp, b, m


def strength(
    hardness_hv: float, fractions: Mapping[str, float] | None = None, branch: str | None = None
) -> Strength:
    """Strength, ductility and flow curve from hardness (60 to 900 HV) and, if known, structure.

    `fractions` are shares of "ferrite", "pearlite", "bainite", "martensite", "austenite"; `branch` forces one of `BRANCHES`.

    >>> soft = strength(150, {"ferrite": 0.7, "pearlite": 0.3})
    >>> round(soft.yield_mpa), round(soft.tensile_mpa), round(soft.hardening_exponent, 3)
    (342, 489, 0.168)
    >>> hard = strength(320, {"martensite": 1.0})
    >>> round(hard.yield_mpa), round(hard.tensile_mpa), hard.branch
    (860, 998, 'quenched and tempered')
    """
    hv = check_number(hardness_hv, "hardness", 60.0, 900.0, "HV")
    if branch is not None:
        branch = check_choice(branch, "branch", BRANCHES)
        shares = tuple(float(name == branch) for name in _SHARED)
    else:
        shares = (0.0, 0.0, 0.0) if fractions is None else structure_shares(fractions)
    values = {name: float(a[0]) for name, a in strength_arrays(hv, *shares).items()}
    return strength_of(values, shares, branch)


def branches_of(shares) -> dict[str, np.ndarray]:
    """Whether the range of a branch counts, by its name, for shares of ferrite-pearlite, bainite, martensite; numbers or arrays."""
    total = sum(shares)
    known = np.asarray(total > NOTHING_BUT_AUSTENITE)
    counts = (known & (share > RANGE_SHARE * total) for share in shares)
    return {**dict(zip(_SHARED, counts, strict=True)), "all data": ~known}


def strength_of(values: Mapping[str, float], shares, branch: str | None = None) -> Strength:
    """Strength with its branch, flow curve and warnings from one row of `strength_arrays`.

    The shares of ferrite-pearlite, bainite, martensite are all 0 where the structure is unknown; `branch` was forced.
    """
    involved = [branch] if branch else [n for n, counts in branches_of(shares).items() if counts]
    pure = "all data" in involved or max(shares) > 0.999 * sum(shares)
    names = ("yield_mpa", "tensile_mpa", "uniform_elongation", "yield_plateau_strain")
    curve = flow_curve(*(values[name] for name in names))
    found = (outside(RANGE_OF[name], values["hardness_hv"]) for name in involved)
    branch = branch or (involved[0] if pure else "blend")
    warnings = tuple(w for w in found if w is not None)
    return Strength(**values, branch=branch, curve=curve, warnings=warnings)


def tensile_strength(hv: float, branch: str = "quenched and tempered") -> float:
    """Tensile strength from Vickers hardness, MPa; quenched and tempered unless another branch is named.

    Examples
    --------
    >>> round(tensile_strength(285))
    889
    """
    return strength(hv, branch=branch).tensile_mpa
