"""What later heats and the want of one mean: the cause of a hardness, temperatures of a torch, and toughness.

No toughness is calculated, so notes carry what the trade knows of it.
"""

from collections.abc import Iterator

import numpy as np

from ...engine.routes import hosel_shape_mm
from ...forging.cautions import FULL_AUSTENITE
from ...inputs.head import ZONES
from ...inputs.route import COOLING, LocalHeat, Temper
from ...thermal.local_heat import hosel_heats
from ...transformation.tempering import stress_left, tempering_coefficients
from .rule import FACE, HOSEL, Rule, listed, of_contents, of_range
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


def _all(heat) -> bool:
    return True


def _local(heat) -> bool:
    return isinstance(heat, LocalHeat)


def _reaches(zone: str):
    """Whether a temper reaches a zone."""
    return lambda heat: isinstance(heat, Temper) and (not heat.zones or zone in heat.zones)


def _any(e, test=_all) -> np.ndarray:
    """Cases with a later heat for which `test` holds, shape (n,)."""
    kinds = np.array([any(map(test, heats)) for heats in e.cases.later], bool)
    return kinds[e.cases.later_of]


def hottest_c(e, test=_all) -> np.ndarray:
    """Temperature of the hottest later heat for which `test` holds, °C, 0 without one, shape (n,)."""
    hottest = [
        max((h.temperature_c for h in heats if test(h)), default=0.0) for heats in e.cases.later
    ]
    return np.array(hottest)[e.cases.later_of]


def relief_left(e) -> np.ndarray:
    """Share of the face's residual stress that the later heats leave, shape (n,)."""
    return np.where(e.cases.route["normalised"], 0.0, stress_left(e.results.later_j[:, FACE]))


def _martensite(e) -> np.ndarray:
    return e.results.fractions["martensite"][:, FACE]


# ---- what was done ---------------------------------------------------------------------------------------------------


def _tempered(e, i):
    done = " and ".join(heat.words for heat in e.cases.later[e.cases.later_of[i]])
    found = {"done": f"{done[0].upper()}{done[1:]}", "left_percent": 100 * relief_left(e)[i]}
    for zone in (FACE, HOSEL):
        hv, cooled = (round(float(x[i, zone])) for x in (e.hardness_hv, e.results.as_cooled_hv))
        what = f"keeps {hv} HV" if hv == cooled else f"goes from {cooled} to {hv} HV"
        found[f"{ZONES[zone]}_change"] = f"the {ZONES[zone]} {what}"
    return found


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


def _torch(e, i):
    reached = zip(("ferrule_c", "neck_c", "head_c"), _torch_c(e)[:, i], strict=True)
    return {**dict(reached), "limit_c": COLD_HEAD_C, "peak_c": hottest_c(e, _local)[i]}


def _torched(e) -> np.ndarray:
    """Cases whose torch makes austenite of the hosel, shape (n,)."""
    return hottest_c(e, _local) > e.critical["ac1"]


def _hardens(e) -> np.ndarray:
    """The torched hosel hardens again in air instead of softening, or would where a torch misses the range below Ac3."""
    f, share = e.results.fractions, e.results.share[:, HOSEL]
    hard = (f["bainite"] + f["martensite"])[:, HOSEL] > _HARDENS_SHARE * share
    softened = (e.results.as_cooled_hv - e.hardness_hv)[:, HOSEL]
    return _torched(e) & hard & ((softened < _SOFTENS_HV) | (share < FULL_AUSTENITE))


# ---- toughness -------------------------------------------------------------------------------------------------------


def _brittle_c(e) -> np.ndarray:
    """Hottest temper of the face or, without one, of its self-tempering where it lies in the brittle range, °C, else 0."""
    off, rebound = e.results.water_off_c[:, FACE], e.results.rebound_c[:, FACE]
    quenched = e.cases.sprayed & (off < e.critical["ms"])
    hottest = np.maximum(hottest_c(e, _reaches("face")), np.where(quenched, off + rebound, 0.0))
    return np.where((hottest >= _BRITTLE_C[0]) & (hottest <= _BRITTLE_C[1]), hottest, 0.0)


def _slow(e) -> np.ndarray:
    """Cooled slowly, after the press or after a temper hot enough."""
    slow = [COOLING.index(how) for how in ("bin", "sleeve", "box", "vermiculite")]
    after = _any(e, lambda h: isinstance(h, Temper) and h.temperature_c > _SLOW_C[0])
    mn, cr, mo = (e.cases.content(element) for element in ("Mn", "Cr", "Mo"))
    prone = (mn + cr >= _MN_CR) & (cr >= 0.5) & (mo < _MO)
    return prone & (np.isin(e.cases.route["surroundings"], slow) | after)


def _carbides(e) -> np.ndarray:
    """Bainite of a steel whose alloy carbides the law has not seen, heated where they form."""
    rich = (e.cases.content("V") > _RICH["V"]) | (e.cases.content("Mo") > _RICH["Mo"])
    bainite = e.results.fractions["bainite"].max(axis=1) > 0.2
    return rich & bainite & (hottest_c(e) > 450.0)


def _untempered(e, zone: int) -> np.ndarray:
    reaches = _reaches(ZONES[zone])
    heated = _any(e, lambda h: reaches(h) and h.temperature_c >= _LEAST_TEMPER_C)
    if zone == HOSEL:
        heated = heated | (_any(e, _local) & ~_torched(e))
    return (e.hardness_hv[:, zone] > _UNTEMPERED_HV) & ~heated


def _risks(e, i):
    risks = {FACE: "the face can crack hours later", HOSEL: "the hosel can break under the bar"}
    brittle = [zone for zone in risks if _untempered(e, zone)[i]]
    which = " and ".join(f"{ZONES[zone]} ({e.hardness_hv[i, zone]:.0f} HV)" for zone in brittle)
    margin = "  The margin at the strike is that of a tempered face without cracks."
    said = {"which": which, "margin": margin * (FACE in brittle)}
    return said | {"risks": ", ".join(risks[zone] for zone in brittle)}


def later() -> Iterator[Rule]:
    def undone(e, i):
        undone = "  It undoes the heats before it."
        return {"undone": undone * bool(e.cases.route["heated_before"][i])}

    def cracked(e):
        return e.cases.route["quenched_before"] & (e.cases.content("C") > CRACK_CARBON)

    def hot_head(e):
        return (_torch_c(e)[1:].max(axis=0) > COLD_HEAD_C) & (_martensite(e) > 0.1)

    def brittle(e):
        hard = _martensite(e) > _BRITTLE_MARTENSITE
        return (_brittle_c(e) > 0.0) & hard & (e.cases.content("C") >= _BRITTLE_CARBON)

    def between(ends, **more):
        return dict(zip(("low_c", "high_c"), ends, strict=True), **more)

    yield listed("normalised", lambda e: e.cases.route["normalised"], undone)
    yield listed("normalised:crack", cracked)
    yield listed("tempered", _any, _tempered)
    yield listed("local-heat", lambda e: _any(e, _local), _torch)
    yield listed("local-heat:hardens", _hardens, _torch)
    yield listed("local-heat:austenite", lambda e: _torched(e) & ~_hardens(e), _torch)
    yield listed("local-heat:hot-head", hot_head, _torch)
    temper = (brittle, lambda e, i: between(_BRITTLE_C, temper_c=_brittle_c(e)[i]))
    yield listed("temper-brittle", *temper)
    yield listed("slow-cooled-brittle", _slow, lambda e, i: between(_SLOW_C))
    yield listed("temper-carbides", _carbides)
    yield listed("untempered", lambda e: _untempered(e, FACE) | _untempered(e, HOSEL), _risks)
    most_hv = (
        (lambda e: e.hardness_hv.max(axis=1) > PLATING_HV),
        lambda e, i: {"most_hv": e.hardness_hv[i].max()},
    )
    yield listed("plating-bake", *most_hv)
    yield from of_contents("tempering", _any)
    yield of_range("tempering.temperature", hottest_c, _any)
