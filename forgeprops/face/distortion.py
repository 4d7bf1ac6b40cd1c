"""What a one-sided quench bends: bow of the face, drift of lie and loft, and edges too hard to cut.

Two strains stay.  *Transformation*: martensite takes more room than ferrite and pearlite.  *Thermal*: while the
front is cold and the back hot and soft, plastic flow takes up part of the difference; the side that cooled first
ends longer.  Both make the quenched front longer: it bows out.  Positive is a front that bulges.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.constants import YOUNGS_MPA
from ..base.errors import InputError, check_choice, check_list, check_number
from ..base.ranges import Warn
from ..base.tables import texts
from ..hosel.result import said
from ..thermal.properties import thermal_strain

#: Mean expansion of steel between 20 °C and about 600 °C, 1/K.
EXPANSION_PER_K = thermal_strain(600.0) / 580.0

#: Volume against austenite at room temperature, per cent: a − b·(wt% C).  Martensite read on a page that
#: quotes the ASM Handbook, vol. 4; the others from memory of the same table (Lement 1959).
_VOLUME = {"martensite": (4.64, 0.53), "bainite": (4.64, 1.43), "ferrite": (4.64, 2.21)}
_VOLUME |= {"pearlite": (4.64, 2.21), "austenite": (0.0, 0.0)}

#: Flatness required of a face before it is ground, mm (our choice; the rules ask the finished face to be flat).
FLATNESS_MM = 0.15
#: What a flatness limit, mm, and a cutting limit, HV, may be.
LIMIT_MM, CUTTING_HV = (0.005, 10.0), (80.0, 900.0)

#: Hardness above which high-speed steel tools and trimming blades suffer, HV (about 32 HRC; common practice, no source).
CUTTING_LIMIT_HV = 320.0


def transformation_strain(fractions: Mapping[str, float], carbon_pct: float) -> float:
    """Linear strain of a structure against its austenite at room temperature: a third of the volume change.

    Shares of "ferrite", "pearlite", "bainite", "martensite", "austenite"; carbon of the steel, 0 to 1.2 wt%.

    .. [1] Martensite 4.64 - 0.53 C per cent: ASM Handbook vol. 4, as quoted (read).
    .. [2] Bainite and pearlite: B. S. Lement, Distortion in Tool Steels (1959) (from memory).
    """
    carbon = check_number(carbon_pct, "carbon", 0.0, 1.2, "wt%")
    total = volume = 0.0
    for name, value in fractions.items():
        a, b = _VOLUME[check_choice(name, "constituent", _VOLUME)]
        share = max(check_number(value, f"share of {name}", -1e-6, 1.0 + 1e-6), 0.0)
        total, volume = total + share, volume + share * (a - b * carbon)
    if total <= 0.0:
        raise InputError(f"fractions must hold at least one share above 0; got {dict(fractions)}.")
    return volume / total / 300.0


def gradient_per_mm(strains: Sequence[float], thickness_mm: float) -> float:
    """Curvature of a plate whose layers want different lengths, 1/mm; positive when the front is longer.

    Equal layers, front first: k = (12/t³) Σ strain · ∫ z dz, z from mid-thickness towards the front (elastic and free;
    beam on its own layers, derived).  A straight gradient returns difference/thickness.
    """
    edges = 0.5 - np.arange(len(strains) + 1) / len(strains)  # in thicknesses
    first_moment = 0.5 * (edges[:-1] ** 2 - edges[1:] ** 2)
    return float(12.0 / thickness_mm * (np.asarray(strains, dtype=float) @ first_moment))


def frozen_thermal_strain(difference_c: float, plastic_share: float = 0.5) -> float:
    """Strain left by a temperature difference, back less front (°C), while the back was soft (above about 600 °C): the share of it
    taken up by flow (0: all elastic, springs back; 1: no strength at all).

    .. [1] EN 1993-1-2:2005, clause 3.4.1.1 (from memory).
    .. [2] Half of the temperature difference is taken up by flow (our choice).
    """
    difference = check_number(difference_c, "temperature difference", -1200.0, 1200.0, "°C")
    return EXPANSION_PER_K * difference * check_number(plastic_share, "plastic share", 0.0, 1.0)


def bow_mm(curvature_per_mm: float, span_mm: float) -> float:
    """Rise of the middle of a span above its ends, mm: k L²/8 (flat arc)."""
    return curvature_per_mm * span_mm**2 / 8.0


@dataclass(frozen=True)
class FaceBow:
    """How the face comes out of flat, and the neck out of line."""

    bow_mm: float  #: middle of the span against its ends; positive: the front bulges
    transformation_mm: float  #: its two parts
    thermal_mm: float
    curvature_per_mm: float
    limit_mm: float  #: the user's flatness limit
    #: Turn of the hosel by a neck wetted on one side, if that length was given: water on the front moves the loft; the lie
    #: moves only where the heel or the toe side is wetted.
    neck_drift_deg: float
    residual_mpa: float  #: stress at the skin that the rim's restraint leaves in the face
    warnings: tuple[Warn, ...]

    @property
    def flat(self) -> bool:
        """Within the limit."""
        return abs(self.bow_mm) <= self.limit_mm

    def words(self) -> str:
        """The answer in sentences."""
        known = {"way": "bulges" if self.bow_mm >= 0.0 else "dishes", "bow": abs(self.bow_mm)}
        known |= {"verdict": "within" if self.flat else "past", "limit": self.limit_mm}
        parts = ("change", self.transformation_mm), ("heat", self.thermal_mm)
        known |= {name: round(part, 2) + 0.0 for name, part in parts}  # no -0
        drift, texts_ = abs(self.neck_drift_deg), texts("hosel_and_face")
        names = ["bow"] + ["drift"] * (drift >= 0.005)
        return " ".join(texts_[n].format(drift=drift, **known) for n in names)


def face_bow(
    thickness_mm: float,
    span_mm: float,
    *,
    layers: Sequence[Mapping[str, float] | float] = (),
    carbon_pct: float = 0.3,
    difference_c: float = 0.0,
    plastic_share: float = 0.5,
    restraint: float = 0.0,
    limit_mm: float = FLATNESS_MM,
    neck: tuple[float, float, float] = (14.0, 0.0, 0.0),
) -> FaceBow:
    """Bow of a face quenched from the front, and drift of a neck wetted on one side.

    Parameters
    ----------
    thickness_mm, span_mm : float
        Face thickness and free span, mm.
    layers : sequence of mapping or float
        Equal layers from front to back: structure (shares by constituent) or the strain that the layer takes when free;
        empty: no transformation part.
    carbon_pct, difference_c, plastic_share : float
        See `transformation_strain`, `frozen_thermal_strain`.
    restraint : float
        Share of the free bow that the rim holds back, 0 to 1.  Default 0: a free plate, the most it can bow.
    limit_mm : float
        The user's flatness limit, mm.
    neck : (float, float, float)
        Neck diameter, mm, length wetted on one side, mm, and the strain difference across it.

    Examples
    --------
    >>> shape = face_bow(3.0, 60.0, layers=[{"martensite": 1.0}, {"pearlite": 1.0}], carbon_pct=0.30)
    >>> round(shape.bow_mm, 2), shape.flat
    (0.38, False)
    """
    t = check_number(thickness_mm, "face thickness", 0.8, 15.0, "mm")
    span = check_number(span_mm, "span", 5.0, 150.0, "mm")
    held = check_number(restraint, "restraint", 0.0, 1.0)
    limit = check_number(limit_mm, "flatness limit", *LIMIT_MM, "mm")
    neck = check_list(neck, "neck", "(diameter, wetted length, mismatch)", 3)
    diameter = check_number(neck[0], "neck diameter", 5.0, 60.0, "mm")
    wet = check_number(neck[1], "wetted neck length", 0.0, 100.0, "mm")
    across = check_number(neck[2], "neck mismatch", -0.02, 0.02)
    carbon = check_number(carbon_pct, "carbon", 0.0, 1.2, "wt%")
    wanted = []
    for x in check_list(layers, "layers"):
        x = transformation_strain(x, carbon) if isinstance(x, Mapping) else x
        wanted.append(check_number(x, "strain of a layer", -0.1, 0.1))
    by_change = gradient_per_mm(wanted, t) if wanted else 0.0
    by_heat = frozen_thermal_strain(difference_c, plastic_share) / t
    free = by_change + by_heat
    kept = free * (1.0 - held)
    bow = bow_mm(kept, span)
    notes = (said("distortion:bow", bow=abs(bow), span=span, limit=limit),) * (abs(bow) > limit)
    notes += (said("distortion:stubby"),) * (span < 5.0 * t)
    change, heat = (bow_mm(part * (1.0 - held), span) for part in (by_change, by_heat))
    # angle between the ends of a bar whose two sides differ in length: the drift of lie or loft
    drift = math.degrees(across / diameter * wet)
    stress = abs(free * held) * YOUNGS_MPA * t / 2.0
    return FaceBow(bow, change, heat, kept, limit, drift, stress, notes)


#: Hardness of ferrite and pearlite against which a layer counts as part martensite, HV (handbook bars of 0.2–0.4 % C:
#: 130–200); temperature above which steel flows rather than springs, °C (EN 1993-1-2: yield halves near 600; from memory);
#: equal layers between the calculated points.
_SOFT_HV, _SOFT_C, _LAYERS = 165.0, 600.0, 40


def bow_of_head(head, face, carbon_pct: float, neck=None, **options) -> FaceBow:
    """`face_bow` of a head from its calculated face, and the drift of its neck.

    `face` and `neck` are results of zones with ``layers_hv`` (Gauss–Lobatto points, front to back), ``temperature_c``,
    ``front_c`` and, if known, ``layer_fractions`` and ``back_c``; overspray on the front of the neck turns the hosel,
    which moves the loft.  Carbon in wt%, options as in `face_bow`.

    *Transformation*: from the structure of every point through the thickness where it is known; what self-tempering has
    softened has given its extra room back in proportion.  Without it the strain follows hardness between
    ferrite–pearlite and full martensite of that carbon.  *Thermal*: the greatest difference of back and front surface
    while the back is above 600 °C and the front below.  Without ``back_c``, twice mean less front, as in a parabola.
    """
    given = {"layers": _layer_strains(face, carbon_pct), "difference_c": _difference_c(face)}
    if neck is not None:
        across = head.zones("forged")["neck"].size_mm
        strains, share = _layer_strains(neck, carbon_pct), options.get("plastic_share", 0.5)
        mismatch = gradient_per_mm(strains, across) * across
        mismatch += frozen_thermal_strain(_difference_c(neck), share)
        given["neck"] = across, head.neck_length_mm, mismatch
    return face_bow(head.forged_thickness_mm, head.face_length_mm, **{**given, **options})


def _difference_c(zone) -> float:
    """Back less front while the back is soft and the front is stiff, °C."""
    mean, front = np.asarray(zone.temperature_c, dtype=float), np.asarray(zone.front_c, dtype=float)
    back = getattr(zone, "back_c", None)
    back = 2.0 * mean - front if back is None else np.asarray(back, dtype=float)
    cooling = np.arange(mean.size) > int(np.argmax(mean))  # on heating the front is the hotter side
    gap = np.where(cooling & (back > _SOFT_C) & (front < _SOFT_C), back - front, 0.0)
    return float(np.clip(gap.max(initial=0.0), 0.0, 1200.0))


def _layer_strains(zone, carbon_pct: float) -> np.ndarray:
    """Strain that equal layers of a zone want, front to back."""
    from ..engine.section import lobatto
    from ..strength.hardness_scales import hv_from_hrc
    from ..transformation.phase_hardness import as_quenched_hrc

    values, structure = np.asarray(zone.layers_hv, float), getattr(zone, "layer_fractions", None)
    hardest = max(float(hv_from_hrc(as_quenched_hrc(carbon_pct))), _SOFT_HV + 50.0)
    if structure is None:
        hard = transformation_strain({"martensite": 1.0}, carbon_pct)
        soft = transformation_strain({"pearlite": 1.0}, carbon_pct)
        strains = (hard - soft) * (values - _SOFT_HV) / (hardest - _SOFT_HV)
    else:
        most = float(zone.fractions["martensite"]) * (hardest - _SOFT_HV)
        lost = (zone.as_quenched_hv - zone.hardness_hv) / max(most, 1e-6)
        kept = float(np.clip(1.0 - lost, 0.0, 1.0))
        strains = []
        for i in range(values.size):
            point = {name: max(float(structure[name][i]), 0.0) for name in structure}
            # what no longer holds its carbon in solution has the room of ferrite and cementite
            loose = (1.0 - kept) * point["martensite"]
            point["pearlite"] += point.pop("untransformed", 0.0) + loose
            point["martensite"] *= kept
            strains.append(transformation_strain(point, carbon_pct))
    at = (np.arange(_LAYERS) + 0.5) / _LAYERS
    return np.interp(at, np.asarray(lobatto(values.size)[0]), strains)


def cutting_warnings(hardness_hv: Mapping[str, float], to_cut, limit_hv=CUTTING_LIMIT_HV):
    """Warn (once) of the zones `to_cut` later whose hardest point, HV by zone, is above the user's limit.

    >>> print(*cutting_warnings({"rim": 410, "hosel": 180}, ["rim", "hosel"]))
    The rim is machined later; its hardest layer has 410 HV, above 320 HV: cut it before, temper it, or use carbide.

    .. [1] 320 HV: usual limit of milling and drilling with coated carbide (common practice).
    """
    limit = check_number(limit_hv, "cutting limit", *CUTTING_HV, "HV")
    hard = {}
    for zone in to_cut:
        zone = check_choice(zone, "zone to cut", hardness_hv)
        hv = check_number(float(hardness_hv[zone]), f"hardness of the {zone}", 20.0, 1200.0, "HV")
        if hv > limit:
            hard[zone] = f"{hv:.0f}"
    if not hard:
        return ()
    words = {"is_": "are", "layer": "their hardest layers have", "it": "them"}
    if len(hard) == 1:
        words = {"is_": "is", "layer": "its hardest layer has", "it": "it"}
    zones, hv = (" and ".join(", ".join(x).rsplit(", ", 1)) for x in (hard, hard.values()))
    return (said("distortion:hard-to-cut", limit=limit, zones=zones, hv=hv, **words),)
