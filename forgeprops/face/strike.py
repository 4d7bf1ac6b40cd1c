"""The strike and the faces it meets, as columns: load of the ball by loft and speed, and the face that takes it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..base.errors import bounded, check_bounded, check_choice, check_options
from ..inputs.drawing import clubs
from .fatigue import FINISHES
from .plate import FILLET_MM

#: Golf ball: at most 45.93 g (1.620 oz, rule figure from memory; 45.9 g read in Proceedings 49 (2020) 47)
#: and at least 42.67 mm across (1.680 in, read in the rules' interpretation of the impact area).
BALL_MASS_G, BALL_RADIUS_MM = 45.93, 42.67 / 2.0

#: Restitution of an iron's face (0.74–0.80; our choice).
RESTITUTION = 0.78
#: Peak over mean force: 1.57 for a half sine, 1.84 for a Hertz contact (derived); 1.4–2 read on a golf-physics
#: page.  1.6 and the range are our choice.
PEAK_FACTOR, PEAK_RANGE = 1.6, (1.4, 1.84)


def spin_loft_deg(loft_deg):
    """Angle between the path of the head and the normal of its face at impact, degrees.

    (launch − attack)/0.75 of tour means by static loft (``data/constants/clubs.csv``), 1° a degree beyond them: the
    ball leaves three quarters of the way from the path to the face normal.

    >>> round(float(spin_loft_deg(30.0)), 1), round(float(spin_loft_deg(56.0)), 1)
    (24.3, 48.9)

    .. [1] Attack angles: tour means by club, a trade page (read); launch angles and the share 0.75 (from memory).
    """
    table = clubs()
    known, loft = table["loft_deg"], np.asarray(loft_deg, dtype=float)
    spin = (table["launch_deg"] - table["attack_deg"]) / 0.75
    beyond = np.maximum(loft - known[-1], 0.0) + np.minimum(loft - known[0], 0.0)
    return np.maximum(np.interp(loft, known, spin) + beyond, 0.0)


def strike_load(head_mass_g, speed_m_s, spin_loft, restitution=RESTITUTION, peak=PEAK_FACTOR):
    """Peak force (N), radius of an equal uniform patch (mm) and contact time (s) of a strike; floats or arrays.

    Head of 150–400 g (the shaft adds little in half a millisecond), its speed, and the angle between path and face normal,
    degrees.  Impulse J = m M/(m + M) (1 + e) v cos(spin loft), peak force = factor · J/T with T = 0.45 ms (41 m/s over v)^0.2.
    Patch: a Hertz contact of radius √(R d) with the approach d = v T/2.94; 0.87 of it spread evenly bends a plate alike (equal
    mean of ln r).  A driver (50 m/s) gives 12 kN against 8.9–13.3 kN published (read); no measured force on an iron was found.

    .. [1] Mass 45.93 g and diameter 42.67 mm by the rules of golf (from memory).
    .. [2] Contact of 0.4 to 0.5 ms measured on clubs, usga.org, May 2025 (read).
    .. [3] Speed to the power −0.2; patch, T = 2.94 d/v: H. Hertz 1882 (from memory).
    """
    ball, head = BALL_MASS_G / 1000.0, np.asarray(head_mass_g, dtype=float) / 1000.0
    reduced = ball * head / (ball + head)
    normal = np.asarray(speed_m_s, dtype=float) * np.cos(np.radians(spin_loft))
    time = 0.45e-3 * (41.0 / normal) ** 0.2
    force = peak * reduced * (1.0 + restitution) * normal / time
    approach = normal * time / 2.94 * 1000.0
    # radius of an equal uniform patch over Hertz's; mean of ln(r/a): −½ for even pressure, ln 2 − 4/3 for Hertz
    even = math.exp(math.log(2.0) - 4.0 / 3.0 + 0.5)
    return force, even * np.sqrt(BALL_RADIUS_MM * approach), time


#: Share of the decarburised depth (90 % of the carbon left) at which half the carbon is left, by the error
#: function: the depth of the soft skin.
SKIN_SHARE = 0.41


@dataclass(frozen=True)
class Strike:
    """The strike and the surfaces it meets; `face_strike` and `estimate(strike=...)` take the same names.

    Attributes
    ----------
    required_strikes : Hard strikes in the middle of the face to survive; 10 000 is the usual air-cannon series.
    speed_m_s, spin_loft_deg : None: by the head's own club speed and loft (`spin_loft_deg`).
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

    required_strikes: float = bounded(10_000.0, "required strikes", 1.0, 1e9)
    speed_m_s: float | None = bounded(None, "club speed", 1.0, 80.0, "m/s")
    spin_loft_deg: float | None = bounded(None, "spin loft", 0.0, 80.0, "°")
    restitution: float = bounded(RESTITUTION, "restitution", 0.0, 1.0)
    front_finish: str = "blasted"
    back_finish: str = "machined"
    front_removed_um: float = bounded(0.0, "metal taken off the front", 0.0, 2000.0, "µm")
    residual_mpa: float = bounded(0.0, "residual stress", -1000.0, 1000.0, "MPa")
    fillet_mm: float = bounded(FILLET_MM, "corner radius of the recess", 0.0, 10.0, "mm")
    edge_notch: float = bounded(1.0, "notch factor at the edge", 1.0, 5.0)
    dent_rate: bool = True

    def __post_init__(self):
        check_bounded(self)
        for name in ("front_finish", "back_finish"):
            check_choice(getattr(self, name), name.replace("_", " "), FINISHES)

    def spin(self, faces: Faces):
        """Spin loft of these faces, degrees."""
        return spin_loft_deg(faces.loft_deg) if self.spin_loft_deg is None else self.spin_loft_deg

    def speed(self, faces: Faces):
        """Head speed of these faces, m/s."""
        return faces.club_speed_m_s if self.speed_m_s is None else self.speed_m_s


def strike_options(strike: Mapping | None) -> dict:
    """Check a strike given as a mapping by the names of `Strike`."""
    return check_options(strike, Strike, "strike", "{'speed_m_s': 42}")


@dataclass(frozen=True)
class Faces:
    """Many faces as columns, arrays of shape (n,) or numbers."""

    thickness_mm: np.ndarray  # finished face, and its free span
    length_mm: np.ndarray
    height_mm: np.ndarray
    rim_mm: tuple[np.ndarray, np.ndarray, np.ndarray]  # thickness; the blade's length and height
    head_mass_g: np.ndarray
    loft_deg: np.ndarray
    club_speed_m_s: np.ndarray
    layers_hv: np.ndarray  # shape (n, m); hardness of the face, front to back
    rim_hv: np.ndarray  # hardness of the rim's front
    #: Ferrite–pearlite, bainite and martensite of the face; all 0: not known.
    shares: tuple[np.ndarray, np.ndarray, np.ndarray] = (0.0, 0.0, 0.0)
    skin_hv: np.ndarray | float = 0.0  # hardness of the decarburised skin of the front
    decarburised_um: np.ndarray | float = 0.0  # depth at which 90 % of the carbon is left; 0: none
    stress_left: np.ndarray | float = 1.0  # share of the quench's residual stress after later heats

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

    def edge_hv(self, fillet_mm: float = FILLET_MM):
        """Hardness at the front edge in the face, at the toe of the corner radius and in the rim, shape (3, n): at the corner
        halfway between face and rim, one rim thickness away that of the face, since heat flows between them (our choice)."""
        front, rim = np.broadcast_arrays(self.layers_hv[:, 0], self.rim_hv)
        near = 0.5 * np.maximum(1.0 - fillet_mm / self.rim_mm[0], 0.0)
        return np.stack([front, front + near * (rim - front), rim])

    def edge_share(self, thickness):
        """Share of the edge's stress that these places feel, shape (3, n): in the thicker rim it is less."""
        thinner = np.minimum(thickness / self.rim_mm[0], 1.0) ** 2
        return np.stack(np.broadcast_arrays(1.0, 1.0, thinner))
