"""Hardness of the constituents as the march uses them: lines fitted together with the rate equations.

Every constituent is a straight line HV = a + b·log10 V, V in °C/h while it forms.  Other than by Maynier et al.
(`phase_hardness`), ferrite and pearlite have their own lines and mix by shares: what slow cooling or chromium does to the
hardness then follows from how much of each there is.  Bainite keeps Maynier's terms with an own level and slope, and sees
the carbon that ferrite has left to it.  The constants stand in data/fits/kinetics.csv, which `tests/fits/fit_kinetics.py`
makes.
"""

import functools

import numpy as np

from ..base.constants import ZERO_C_K
from . import tempering
from .kinetics import constants

#: Rate at which the quenched end of the end-quench bar passes Ms, °C/s: what the as-quenched hardness of the
#: standard was measured at (the march gives 60-150 °C/s 1.5 mm from the end).
REFERENCE_RATE_C_PER_S = 100.0
#: Softening goes with this power of the tempering integral (see `decomposition`), by which it is averaged.
_POWER = 1.0 / 14.0


def lines(comp, k=None) -> tuple:
    """Lines of ferrite (a, b), of pearlite (a, its change per wt% of the pearlite's carbon, b) and of bainite (a and b, each
    with its change per wt% carbon); `k` defaults to `kinetics.constants()`.

    Below 0.77 % carbon the pearlite is lean in cementite and softer.

    >>> a, b, *_ = lines({"Si": 0.25, "Mn": 0.5, "Ni": 0.1, "Cr": 0.1, "Mo": 0.02})
    >>> 80 < a + 3.3 * b < 110
    True

    .. [1] Ferrite and pearlite: own fit of tests/fits/fit_kinetics.py to data/measured/air_cooled_bars.csv, 71 of 119 rows
       from memory; the shares of Si, Mn, Cr and Mo are first guesses that were not freed (data/fits/kinetics.csv)
       (our own fit).
    .. [2] Bainite: terms of Ph. Maynier, B. Jungmann & J. Dollet, AIME 1978, pp. 518-544, from memory; level, slope and some
       terms fitted by tests/fits/fit_kinetics.py (data/fits/kinetics.csv) (our own fit).
    """
    k = k or constants()

    def terms(name, *elements):
        return sum(k[f"{name}_{e.lower()}"] * comp.get(e) for e in elements)

    alloys = ("Si", "Mn", "Ni", "Cr", "Mo")
    dissolved = terms("solid", *alloys)  # adds to ferrite, in pearlite too
    refined = terms("pearlite_hv", "Mn", "Cr", "Mo")
    ferrite = k["ferrite_hv"] + dissolved, k["ferrite_slope"]
    pearlite = k["pearlite_hv"] + dissolved + refined, k["pearlite_hv_c"], k["pearlite_slope"]
    a, b = (k[name] + terms(name, *alloys) for name in ("bainite_hv", "bainite_slope"))
    return *ferrite, *pearlite, a, k["bainite_hv_c"], b, k["bainite_slope_c"]


def dissolved_vanadium(v, carbon, t_c):
    """Vanadium that austenite of that carbon dissolves at `t_c`, wt%: the lesser of all and what VC leaves, its corner smooth.

    >>> round(float(dissolved_vanadium(0.10, 0.45, 860.0)), 3), round(float(dissolved_vanadium(0.10, 0.45, 1000.0)), 3)
    (0.048, 0.1)

    .. [1] log10([V][C]) = 6.72 - 9500/T: K. Narita, Trans. ISIJ 15 (1975) 145 (from memory).
    """
    top = 10.0 ** (6.72 - 9500.0 / (np.asarray(t_c) + ZERO_C_K)) / np.maximum(carbon, 0.05)
    return v * top / (v**4 + top**4) ** 0.25


def vanadium_share(log_v):
    """Share of the hardening by vanadium carbide that forms beside ferrite and pearlite at that rate, log10 of °C/h: faster than
    some 20 °C/s hardly any precipitates.

    .. [1] 1/(1 + rate/20) (our choice).
    """
    return 1.0 / (1.0 + 10.0**log_v / (3600.0 * 20.0))


@functools.cache
def _depths():
    """Depths below Ms, in e-foldings of the law, and the share of the martensite that each stands for.

    The mean over 41 even depths down to five e-foldings, by the four points and weights that are exact for it up to the
    seventh power (Gauss's, for these 41; Golub & Welsch, Math. Comput. 23 (1969) 221, from memory): as good within 0.0001 HV
    up to 0.6 % carbon, at a tenth of the work.
    """
    depth = np.linspace(0.0, 5.0, 41)
    weight = np.exp(-depth)
    before, now, norm = np.zeros(41), np.full(41, weight.sum() ** -0.5), 0.0
    middles, norms = [], []
    for _ in range(4):
        middles.append((weight * now * now * depth).sum())
        rest = (depth - middles[-1]) * now - norm * before
        norm = np.sqrt((weight * rest * rest).sum())
        norms.append(norm)
        before, now = now, rest / norm
    beside = np.diag(norms[:-1], 1)
    values, vectors = np.linalg.eigh(np.diag(middles) + beside + beside.T)
    return values, vectors[0] ** 2


def fresh_martensite_hv(comp, quenched_hv, ms_c, alpha_per_k):
    """Hardness of martensite that has not tempered at all, HV, from that of a water-quenched piece.

    The as-quenched hardness of the standard is of pieces that tempered themselves a little between Ms and the water's
    temperature.  The march counts that tempering along each curve and starts from this hardness, so that the end of the
    end-quench bar comes out as the standard has it.  Contents in wt%, columns of shape (n, 1) or numbers; hardness as
    quenched, Ms and α of the martensite law, arrays of one shape.

    .. [1] Self-tempering by the own tempering law, averaged along the law of D. P. Koistinen & R. E. Marburger, Acta
       Metall. 7 (1959) 59 (derived).
    """
    law = tempering.tempering_coefficients(comp)
    # integral of exp(-Q/T) from there down at an even rate, T²/Q exp(-Q/T) over the rate, to softening's power
    mean = 0.0
    for depth, share in zip(*_depths(), strict=True):  # one by one they stay in the cache
        kelvin = np.maximum(ms_c - depth / alpha_per_k + ZERO_C_K, 200.0)
        mean += share * np.exp(_POWER * (2.0 * np.log(kelvin) - law.activation_k / kelvin))
    mean **= 1.0 / _POWER
    x = np.log10(np.maximum(mean / (law.activation_k * REFERENCE_RATE_C_PER_S), 1e-45))
    left, soft = tempering.left_and_soft(quenched_hv, x, law)
    return (quenched_hv - (1.0 - left) * soft) / left
