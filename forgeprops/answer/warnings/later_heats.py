"""What later heats and the want of one mean: the cause of a hardness, temperatures of a torch, and toughness.

No toughness is calculated, so notes carry what the trade knows of it.  Each row of `_ROWS` is (code, rank, where, text) as `rule.Rule` takes them.
"""

from collections.abc import Iterator

import numpy as np

from ...engine.routes import hosel_shape_mm
from ...forging.cautions import FULL_AUSTENITE
from ...inputs.head import ZONES
from ...inputs.later import COOLING, LocalHeat, Temper
from ...thermal.local_heat import hosel_heats
from ...transformation.tempering import stress_left, tempering_coefficients
from .rule import FACE, HOSEL, Rule, of_contents, of_range
from .spray import CRACK_CARBON

#: °C above which the martensite of a face behind a torch loses hardness (5-11 HV in 1-30 min at 200 °C by our own law).
COLD_HEAD_C = 200.0
#: Tempered-martensite embrittlement: °C, and least carbon, wt%, and martensite for the warning (common practice).
_BRITTLE_C, _BRITTLE_CARBON, _BRITTLE_MARTENSITE = (250.0, 400.0), 0.30, 0.5
#: Temper embrittlement: °C through which it is bad to cool slowly; manganese with chromium that suffer it and molybdenum
#: that prevents it, wt% (common practice).
_SLOW_C, _MN_CR, _MO = (375.0, 575.0), 1.4, 0.10
#: V and Mo above which the carbides that form at 500-650 °C may hold bainite hard, wt% (our choice).
_RICH = {"V": 0.05, "Mo": 0.30}
#: HV that should not stay untempered (50 HRC, ASTM E140), and the lowest temperature that counts as tempering, °C (common
#: practice).
_UNTEMPERED_HV, _LEAST_TEMPER_C = 513.0, 140.0
#: HV above which plating and pickling call for a bake (31 HRC or 1000 MPa: ASTM B850, from memory).
PLATING_HV = 302.0
#: Share of the new austenite as bainite and martensite that counts as hardened, and HV that a torch should take at least (our choice).
_HARDENS_SHARE, _SOFTENS_HV = 0.1, 10.0


def heats_of(e, case: int) -> tuple[Temper | LocalHeat, ...]:
    """Later heats of one case, in their order."""
    return e.cases.later[e.cases.later_of[case]]


def _any(e, test) -> np.ndarray:
    """Cases with a later heat for which `test` holds, shape (n,)."""
    kinds = np.array([any(map(test, heats)) for heats in e.cases.later], bool)
    return kinds[e.cases.later_of]


def any_heat(e) -> np.ndarray:
    """Cases with a later heat, shape (n,)."""
    return _any(e, lambda heat: True)


def hottest_c(e) -> np.ndarray:
    """Temperature of the hottest later heat, °C, 0 without one, shape (n,)."""
    kinds = [max((heat.temperature_c for heat in heats), default=0.0) for heats in e.cases.later]
    return np.array(kinds)[e.cases.later_of]


def relief_left(e) -> np.ndarray:
    """Share of the face's residual stress that the later heats leave, shape (n,)."""
    return np.where(e.cases.route["normalised"], 0.0, stress_left(e.results.later_j[:, FACE]))


def _reaches(zone: str):
    """Whether a temper reaches a zone."""
    return lambda heat: isinstance(heat, Temper) and (not heat.zones or zone in heat.zones)


def _local(heat) -> bool:
    return isinstance(heat, LocalHeat)


def _martensite(e, zone: int) -> np.ndarray:
    return e.results.fractions["martensite"][:, zone]


# ---- what was done ---------------------------------------------------------------------------------------------------


def _tempered_text(e, i):
    done = " and ".join(heat.words for heat in heats_of(e, i))

    def change(zone):
        hv, cooled = (round(float(x[i, zone])) for x in (e.hardness_hv, e.results.as_cooled_hv))
        what = f"keeps {hv} HV" if hv == cooled else f"goes from {cooled} to {hv} HV"
        return f"the {ZONES[zone]} {what}"

    left = f"{100 * relief_left(e)[i]:.0f} % of the face's residual stress is left"
    return f"{done[0].upper()}{done[1:]}: {change(FACE)} and {change(HOSEL)}; {left}."


def _torch_c(e) -> np.ndarray:
    """Highest °C of the ferrule end, of the neck at the body and of the head by local heats, shape (3, n); 0 without."""
    found = np.zeros((3, len(e)))
    if not any(_local(heat) for heats in e.cases.later for heat in heats):
        return found
    theta = float(tempering_coefficients({"C": 0.3}).activation_k)
    shapes = hosel_shape_mm(e.cases)
    for kind, heats in enumerate(e.cases.later):
        mine = e.cases.later_of == kind
        for heat in filter(_local, heats) if mine.any() else ():
            t = hosel_heats(shapes[mine], heat.peak_c, heat.hold_s, heat.cooled, theta)
            hottest = np.stack([t.ferrule_end_c, t.neck_end_c, t.body_c])
            found[:, mine] = np.maximum(found[:, mine], hottest)
    return found


def _torch_text(e, i):
    ferrule, neck, head = _torch_c(e)[:, i]
    return (
        f"With the torch on the bend zone the free end of the hosel reaches {ferrule:.0f} °C (fit shaft and ferrule "
        f"afterwards), the neck at the body {neck:.0f} °C and the head {head:.0f} °C.  Below about 560 °C bainite does not "
        f"soften in minutes; above Ac1 ({e.critical['ac1'][i]:.0f} °C) the metal becomes austenite.  "
        "The cooled neck stays harder than the ring, so the bend gathers in the ring: a hotter torch may allow less of it."
    )


def _torched(e) -> np.ndarray:
    """Cases whose torch makes austenite of the hosel, shape (n,)."""
    kinds = [max((h.peak_c for h in heats if _local(h)), default=0.0) for heats in e.cases.later]
    return np.array(kinds)[e.cases.later_of] > e.critical["ac1"]


def _hardens(e) -> np.ndarray:
    """The torched hosel hardens again in air instead of softening, or would where a torch misses the range below Ac3."""
    f, share = e.results.fractions, e.results.share[:, HOSEL]
    hard = (f["bainite"] + f["martensite"])[:, HOSEL] > _HARDENS_SHARE * share
    softened = (e.results.as_cooled_hv - e.hardness_hv)[:, HOSEL]
    return _torched(e) & hard & ((softened < _SOFTENS_HV) | (share < FULL_AUSTENITE))


def _torched_text(e, i):
    hv, cooled = e.hardness_hv[i, HOSEL], e.results.as_cooled_hv[i, HOSEL]
    peak = max(h.peak_c for h in heats_of(e, i) if _local(h))
    what = "hardens again in air" if _hardens(e)[i] else "cools to a new structure"
    remedy = "  Stay 30 °C below Ac1." * bool(_hardens(e)[i])
    return (
        f"The torch at {peak:.0f} °C is above Ac1 ({e.critical['ac1'][i]:.0f} °C): the hosel becomes austenite and {what}, "
        f"{cooled:.0f} to {hv:.0f} HV, with a soft ring beside it and scale.{remedy}"
    )


def _hot_head(e) -> np.ndarray:
    return (_torch_c(e)[1:].max(axis=0) > COLD_HEAD_C) & (_martensite(e, FACE) > 0.1)


def _hot_head_text(e, i):
    _, neck, head = _torch_c(e)[:, i]
    return (
        f"The torch heats the neck at the body to {neck:.0f} °C and the head to {head:.0f} °C; above {COLD_HEAD_C:.0f} °C "
        "the face loses hardness from the heel on: keep the head in a wet cloth or in water."
    )


# ---- toughness -------------------------------------------------------------------------------------------------------


def _brittle_c(e) -> np.ndarray:
    """Hottest temper of the face or, without one, of its self-tempering where it lies in the brittle range, °C, else 0."""
    reached = ([h.temperature_c for h in heats if _reaches("face")(h)] for heats in e.cases.later)
    kinds = [max(temperatures, default=0.0) for temperatures in reached]
    off, rebound = e.results.water_off_c[:, FACE], e.results.rebound_c[:, FACE]
    quenched = e.cases.sprayed & (off < e.critical["ms"])
    itself = np.where(quenched, off + rebound, 0.0)
    hottest = np.maximum(np.array(kinds)[e.cases.later_of], itself)
    return np.where((hottest >= _BRITTLE_C[0]) & (hottest <= _BRITTLE_C[1]), hottest, 0.0)


def _brittle(e) -> np.ndarray:
    hard = _martensite(e, FACE) > _BRITTLE_MARTENSITE
    return (_brittle_c(e) > 0.0) & hard & (e.cases.content("C") >= _BRITTLE_CARBON)


def _brittle_text(e, i):
    return (
        f"The martensite of the face tempers at {_brittle_c(e)[i]:.0f} °C; between {_BRITTLE_C[0]:.0f} and {_BRITTLE_C[1]:.0f} "
        f"°C steel with {e.cases.content('C')[i]:.2f} % C can turn brittle (common practice; no toughness is calculated): "
        "temper below 230 °C or above 420 °C, or spray longer."
    )


def _slow(e) -> np.ndarray:
    """Cooled slowly, after the press or after a temper hot enough."""
    slow = [COOLING.index(how) for how in ("bin", "sleeve", "box", "vermiculite")]
    after = _any(e, lambda h: isinstance(h, Temper) and h.temperature_c > _SLOW_C[0])
    mn, cr, mo = (e.cases.content(element) for element in ("Mn", "Cr", "Mo"))
    prone = (mn + cr >= _MN_CR) & (cr >= 0.5) & (mo < _MO)
    return prone & (np.isin(e.cases.route["surroundings"], slow) | after)


def _slow_text(e, i):
    return (
        f"Chromium–manganese steel without molybdenum can turn brittle when it cools slowly through {_SLOW_C[1]:.0f}–"
        f"{_SLOW_C[0]:.0f} °C (common practice; no toughness is calculated): cool it in air on its own, or faster."
    )


def _carbides(e) -> np.ndarray:
    """Bainite of a steel whose alloy carbides the law has not seen, heated where they form."""
    rich = (e.cases.content("V") > _RICH["V"]) | (e.cases.content("Mo") > _RICH["Mo"])
    bainite = e.results.fractions["bainite"].max(axis=1) > 0.2
    return rich & bainite & any_heat(e) & (hottest_c(e) > 450.0)


def _carbides_text(e, i):
    return (
        f"The softening of bainite with {e.cases.content('V')[i]:.2f} % V and {e.cases.content('Mo')[i]:.2f} % Mo is not "
        "checked: such steel may not soften at all up to 600 °C."
    )


def _untempered(e, zone: int) -> np.ndarray:
    reaches = _reaches(ZONES[zone])
    heated = _any(e, lambda h: reaches(h) and h.temperature_c >= _LEAST_TEMPER_C)
    if zone == HOSEL:
        heated = heated | (_any(e, _local) & ~_torched(e))
    return (e.hardness_hv[:, zone] > _UNTEMPERED_HV) & ~heated


def _untempered_text(e, i):
    risks = {FACE: "the face can crack hours later", HOSEL: "the hosel can break under the bar"}
    brittle = [zone for zone in risks if _untempered(e, zone)[i]]
    which = " and ".join(f"{ZONES[zone]} ({e.hardness_hv[i, zone]:.0f} HV)" for zone in brittle)
    text = (
        f"Untempered above 50 HRC: {which}; {', '.join(risks[zone] for zone in brittle)} (common practice): temper at 150–"
        "200 °C within hours."
    )
    margin = "  The margin at the strike is that of a tempered face without cracks."
    return text + margin * (FACE in brittle)


def _plating_text(e, i):
    hv = e.hardness_hv[i].max()
    return (
        f"If this head ({hv:.0f} HV at most) is plated or pickled: above 31 HRC hydrogen can crack it; bake it at 190–220 °C "
        "for 3 h or more within hours (ASTM B850, from memory).  A bake is a temper: put it into the route to see its loss."
    )


def _normalised_text(e, i):
    undone = "  It undoes the heats before it." * bool(e.cases.route["heated_before"][i])
    return (
        "The normalise makes new austenite: structure and hardness follow from it alone.  The crack risk of the water, the "
        "bow and the press belong to the route without it: estimate that too.  Scale and carbon loss of both heats add."
        f"{undone}"
    )


def _cracked(e) -> np.ndarray:
    return e.cases.route["quenched_before"] & (e.cases.content("C") > CRACK_CARBON)


def _cracked_text(e, i):
    return (
        f"The quench before the normalise may crack {e.cases.content('C')[i]:.2f} % C, which no later heat repairs: estimate the "
        "route without the normalise too."
    )


_ROWS = (
    ("normalised", "note", lambda e: e.cases.route["normalised"], _normalised_text),
    ("normalised:crack", "change", _cracked, _cracked_text),
    ("tempered", "note", any_heat, _tempered_text),
    ("local-heat", "note", lambda e: _any(e, _local), _torch_text),
    ("local-heat:hardens", "stop", _hardens, _torched_text),
    ("local-heat:austenite", "note", lambda e: _torched(e) & ~_hardens(e), _torched_text),
    ("local-heat:hot-head", "change", _hot_head, _hot_head_text),
    ("temper-brittle", "change", _brittle, _brittle_text),
    ("slow-cooled-brittle", "note", _slow, _slow_text),
    ("temper-carbides", "note", _carbides, _carbides_text),
    (
        "untempered",
        "change",
        lambda e: _untempered(e, FACE) | _untempered(e, HOSEL),
        _untempered_text,
    ),
    ("plating-bake", "note", lambda e: e.hardness_hv.max(axis=1) > PLATING_HV, _plating_text),
)


def later() -> Iterator[Rule]:
    yield from (Rule(*row) for row in _ROWS)
    yield from of_contents("tempering", any_heat)
    yield of_range("tempering.temperature", hottest_c, any_heat)
