"""The strike and the faces it meets, as columns: the load, and the face that takes it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..base.errors import check_choice, check_number, check_options
from .ball_impact import RESTITUTION, spin_loft_deg
from .clamp import FILLET_MM
from .fatigue import FINISHES

#: Share of the decarburised depth (90 % of the carbon left) at which half the carbon is left, by the error
#: function: the depth of the soft skin.
SKIN_SHARE = 0.41


@dataclass(frozen=True)
class Strike:
    """The strike and the surfaces it meets; `face_strike` and `estimate(strike=...)` take the same names.

    Attributes
    ----------
    required_strikes : Hard strikes in the middle of the face to survive; 10 000 is the usual air-cannon series.
    speed_m_s, spin_loft_deg : None: by the head's own club speed and loft (`ball_impact.spin_loft_deg`).
    front_finish, back_finish : One of `FINISHES`.
    front_removed_um : Metal ground or polished off the front after the last heat, µm.
    residual_mpa : Stress left in both surfaces by the quench, tension positive, never measured; later heats relieve it.
    fillet_mm : Corner radius of the recess.
    edge_notch : Stress factor at the front edge, of a score line for instance; 1: none.
    dent_rate : Count the rise of yield with the strain rate of the strike.

    References
    ----------
    .. [1] 10 000 strikes: usual air-cannon series are 5000-10 000 (common practice).
    .. [2] Blasted front, machined back, fillet of 2 mm, no residual stress (our choice).
    """

    required_strikes: float = 10_000.0
    speed_m_s: float | None = None
    spin_loft_deg: float | None = None
    restitution: float = RESTITUTION
    front_finish: str = "blasted"
    back_finish: str = "machined"
    front_removed_um: float = 0.0
    residual_mpa: float = 0.0
    fillet_mm: float = FILLET_MM
    edge_notch: float = 1.0
    dent_rate: bool = True

    def __post_init__(self):
        for name, (label, low, high, unit) in _BOUNDS.items():
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, check_number(value, label, low, high, unit))
        for name in ("front_finish", "back_finish"):
            check_choice(getattr(self, name), name.replace("_", " "), FINISHES)

    @property
    def front_um(self) -> float:
        """Roughness of the front, µm."""
        return FINISHES[self.front_finish]

    @property
    def back_um(self) -> float:
        """Roughness of the back, µm."""
        return FINISHES[self.back_finish]

    def spin(self, faces: Faces):
        """Spin loft of these faces, degrees."""
        return spin_loft_deg(faces.loft_deg) if self.spin_loft_deg is None else self.spin_loft_deg

    def speed(self, faces: Faces):
        """Head speed of these faces, m/s."""
        return faces.club_speed_m_s if self.speed_m_s is None else self.speed_m_s


_BOUNDS = {
    "required_strikes": ("required strikes", 1.0, 1e9, ""),
    "speed_m_s": ("club speed", 1.0, 80.0, "m/s"),
    "spin_loft_deg": ("spin loft", 0.0, 80.0, "°"),
    "restitution": ("restitution", 0.0, 1.0, ""),
    "front_removed_um": ("metal taken off the front", 0.0, 2000.0, "µm"),
    "residual_mpa": ("residual stress", -1000.0, 1000.0, "MPa"),
    "fillet_mm": ("corner radius of the recess", 0.0, 10.0, "mm"),
    "edge_notch": ("notch factor at the edge", 1.0, 5.0, ""),
}


def strike_options(strike: Mapping | None) -> dict:
    """Check a strike given as a mapping by the names of `Strike`.

    >>> strike_options({"speed_m_s": 42})
    {'speed_m_s': 42}
    """
    return check_options(strike, Strike, "strike", "{'speed_m_s': 42}")


@dataclass(frozen=True)
class Faces:
    """Many faces as columns, arrays of shape (n,) or numbers."""

    thickness_mm: np.ndarray  # finished face, and its free span
    length_mm: np.ndarray
    height_mm: np.ndarray
    rim_mm: tuple[
        np.ndarray, np.ndarray, np.ndarray
    ]  # thickness, length and height; the last two are the blade's
    head_mass_g: np.ndarray
    loft_deg: np.ndarray
    club_speed_m_s: np.ndarray
    layers_hv: np.ndarray  # shape (n, m); hardness of the face, front to back
    rim_hv: np.ndarray  # hardness of the rim's front
    #: Ferrite–pearlite, bainite and martensite of the face; all 0: not known.
    shares: tuple[np.ndarray, np.ndarray, np.ndarray] = (0.0, 0.0, 0.0)
    skin_hv: np.ndarray | float = 0.0  # hardness of the decarburised skin of the front
    decarburised_um: np.ndarray | float = 0.0  # depth at which 90 % of the carbon is left; 0: none
    stress_left: np.ndarray | float = (
        1.0  # share of the residual stress of the quench that later heats leave
    )

    def skin(self, removed_um: float):
        """Hardness and depth (µm) of what is left of the soft skin; the hardness rises straight to the core's."""
        core, depth = self.layers_hv[:, 0], np.asarray(self.decarburised_um, dtype=float)
        share = np.minimum(removed_um / np.maximum(depth, 1e-9), 1.0)
        skin = np.maximum(self.skin_hv + (core - self.skin_hv) * share, 60.0)
        return skin, SKIN_SHARE * depth - removed_um

    def moved(self, step_hv) -> Faces:
        """The same faces with every hardness moved."""
        layers = np.maximum(self.layers_hv + step_hv[:, None], 60.0)
        rim = np.maximum(self.rim_hv + step_hv, 60.0)
        return dataclasses.replace(self, layers_hv=layers, rim_hv=rim)

    def repeated(self, times: int) -> Faces:
        """The same faces several times, one after the other."""
        n = len(self.layers_hv)

        def tile(value):
            if isinstance(value, tuple):
                return tuple(tile(v) for v in value)
            if np.ndim(value) == 2:
                return np.tile(value, (times, 1))
            return np.tile(np.broadcast_to(value, (n,)), times)

        return Faces(**{f.name: tile(getattr(self, f.name)) for f in dataclasses.fields(self)})

    def edge_hv(self, fillet_mm: float = FILLET_MM):
        """Hardness at the front edge in the face, at the toe of the corner radius and in the rim, shape (3, n).

        At the corner the hardness is halfway between face and rim and reaches that of the face one rim
        thickness away, since heat flows between them (our choice).
        """
        front, rim = np.broadcast_arrays(self.layers_hv[:, 0], self.rim_hv)
        near = 0.5 * np.maximum(1.0 - fillet_mm / self.rim_mm[0], 0.0)
        return np.stack([front, front + near * (rim - front), rim])

    def edge_share(self, thickness):
        """Share of the edge's stress that these places feel, shape (3, n): in the thicker rim it is less."""
        thinner = np.minimum(thickness / self.rim_mm[0], 1.0) ** 2
        return np.stack(np.broadcast_arrays(1.0, 1.0, thinner))
