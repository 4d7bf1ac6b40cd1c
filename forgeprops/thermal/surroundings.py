"""What takes heat from the head, or gives it: air, radiation, neighbours, sleeve, furnace."""

import math
from types import SimpleNamespace

import numpy as np

from ..base.arrays import plain
from ..base.constants import GRAVITY_M_S2, STEFAN_BOLTZMANN, ZERO_C_K
from ..base.errors import check_choice, check_number
from ..base.tables import read_rows
from .properties import air

# ---- air


def natural_convection_cylinder(rayleigh, prandtl):
    """Nusselt number of a horizontal cylinder in still air; 1e-5 < Ra < 1e12, film properties.

    .. [1] S. W. Churchill & H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1049, as given by the
       open library ht 1.2.0 (read).
    """
    of_prandtl = (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    return (0.60 + 0.387 * rayleigh ** (1 / 6) / of_prandtl) ** 2


def natural_convection_plate(rayleigh, prandtl):
    """Nusselt number of a vertical plate in still air.

    .. [1] S. W. Churchill & H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1323, as given by the
       open library ht 1.2.0 (read).
    """
    of_prandtl = (1 + (0.492 / prandtl) ** (9 / 16)) ** (8 / 27)
    return (0.825 + 0.387 * rayleigh ** (1 / 6) / of_prandtl) ** 2


def forced_cylinder(reynolds, prandtl):
    """Nusselt number of a cylinder in cross-flow; Re Pr > 0.2, film properties.

    .. [1] S. W. Churchill & M. Bernstein, J. Heat Transfer 99 (1977) 300, as given by the open library
       ht 1.2.0 (read).
    """
    laminar = 0.62 * reynolds**0.5 * prandtl ** (1 / 3) / (1 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
    return 0.3 + laminar * (1 + (reynolds / 282_000) ** 0.625) ** 0.8


def forced_plate(reynolds, prandtl):
    """Mean Nusselt number of a plate along an air stream, laminar: 0.664 Re^½ Pr^⅓, Re < 5·10⁵.

    .. [1] T. L. Bergman et al., Fundamentals of Heat and Mass Transfer, eq. 7.30 (from memory).
    """
    return 0.664 * reynolds**0.5 * prandtl ** (1 / 3)


def convection_w_m2k(shape, surface_c, air_c, size_mm, speed_m_s=0.0):
    """Convection of a zone in still or moving air, hotter or colder, W/(m² K), by its shape, "plate" or "round".

    `size_mm` is the height of a plate, the diameter of a round (a vertical hosel differs by less than 2 W/(m² K)); speed 0
    is still air (in an array none may be 0).  Natural and forced convection together: h³ = natural³ + forced³.

    .. [1] Both together: T. L. Bergman et al., Fundamentals of Heat and Mass Transfer, ch. 9.9 (from memory).
    """
    laws = {"round": (natural_convection_cylinder, forced_cylinder)}
    laws["plate"] = natural_convection_plate, forced_plate
    natural, forced = laws[check_choice(shape, "shape", laws)]
    surface_c, size, moving = np.asarray(surface_c, dtype=float), size_mm * 1e-3, 0.0
    mean_c = (surface_c + air_c) / 2
    film = air(mean_c)
    cube = size * size * size  # a power of a number and of an array differ in the last bit
    buoyancy = GRAVITY_M_S2 * (1 / (mean_c + ZERO_C_K)) * np.abs(surface_c - air_c) * cube
    rayleigh = buoyancy / (film.viscosity_m2_s * film.diffusivity_m2_s)
    still = natural(rayleigh, film.prandtl) * film.conductivity_w_mk / size
    if np.any(speed_m_s):
        reynolds = speed_m_s * size_mm * 1e-3 / film.viscosity_m2_s
        moving = forced(reynolds, film.prandtl) * film.conductivity_w_mk / size
    return (still**3 + moving**3) ** (1 / 3)


# ---- radiation and neighbours


def radiation_w_m2k(surface_c, room_c, emissivity):
    """Radiation to the room as a coefficient, W/(m² K): ε σ (Ts + Tr)(Ts² + Tr²).

    .. [1] T. L. Bergman et al., Fundamentals of Heat and Mass Transfer, eq. 1.7 (from memory).
    .. [2] Emissivity 0.80 ± 0.10 of thin tight scale at 500-1000 °C: tables of two pyrometer and
       thermal-camera manuals (read).
    """
    surface, room = surface_c + ZERO_C_K, room_c + ZERO_C_K
    return emissivity * STEFAN_BOLTZMANN * (surface + room) * (surface * surface + room * room)


def row_view_factor(pitch_mm: float, size_mm: float) -> float:
    """Share of the room a head still sees when it stands in a long row: 1 − 2F, F to each next neighbour.

    Each head is a cylinder across the row, its diameter the outline's size; F between two equal parallel cylinders by
    crossed strings, F = [√(X² − 1) + asin(1/X) − X]/π, X = pitch/size, at least 1.

    .. [1] Crossed strings, H. C. Hottel; T. L. Bergman et al., table 13.1 (from memory).
    """
    size_mm = check_number(size_mm, "size of the head", 1, 500, "mm")
    pitch_mm = check_number(pitch_mm, "pitch of the row", size_mm, 10_000, "mm")
    x = pitch_mm / size_mm
    return 1 - 2 * (math.sqrt(x * x - 1) + math.asin(1 / x) - x) / math.pi


#: What stands around the head for each of the route's surroundings: rows of a table, whose head says what they are.
NEIGHBOURS = {
    r["kind"]: SimpleNamespace(
        view_factor=float(r["view_factor"] or row_view_factor(float(r["pitch_mm"]), float(r["size_mm"]))),
        air_share=float(r["air_share"]), forced=r["forced"] == "yes",
        covered=tuple(r["covered"].split()), source=r["source"], basis=r["basis"],
    )
    for r in read_rows("constants/surroundings.csv")
}  # fmt: skip


#: Sleeve: ceramic-fibre blanket at about 600 °C, W/(m K) (0.10–0.20 in makers' sheets, from memory), and its wall, mm (invented).
SLEEVE = (0.15, 10.0)
#: Natural convection and radiation on the outside of a sleeve at 100–200 °C, W/(m² K) (7 + 8; our choice).
SLEEVE_OUTSIDE_W_M2K = 15.0


def sleeve_w_m2k(outside_w_m2k, diameter_mm, thickness_mm, conductivity_w_mk):
    """Heat-transfer coefficient on the hosel's surface through an insulating sleeve in series with `outside_w_m2k`, W/(m² K); the
    sleeve's own heat capacity is left out, so early cooling is underestimated.

    .. [1] T. L. Bergman et al., Fundamentals of Heat and Mass Transfer, eq. 3.33; ceramic fibre 0.15 W/(m K) (from
       memory).
    """
    radius = diameter_mm / 2.0
    outer = radius + thickness_mm
    through = radius * 1e-3 / conductivity_w_mk * np.log(outer / radius)
    return plain(1.0 / (through + radius / outer / outside_w_m2k))


#: A box of 600 x 400 x 300 mm with 50 mm of fibre board for 40 heads of 160 cm²: 1.1 m² of wall at 2.3 W/(m² K) over 0.64 m² of steel,
#: W/(m² K) of the head's surface (invented box).
BOX_W_M2K = 4.0
#: Loose vermiculite at some 400 °C, W/(m K) (0.06 cold to 0.15 hot, from memory), and how thick it lies, mm.
VERMICULITE = (0.12, 50.0)


def cover_w_m2k(kind, zone, shape, size_mm):
    """What a covered zone loses, W/(m² K) referred to surface minus room: sleeve, box or vermiculite.

    In vermiculite a round is in a shell 50 mm thick (`sleeve_w_m2k`), a plate an isothermal disc in a wide bed, S = 4 D over two sides,
    h = 8 k/(π D).  The bed's own heat capacity is left out, so early cooling is underestimated.

    >>> [round(float(cover_w_m2k("vermiculite", z, s, d)), 1) for z, s, d in (("hosel", "round", 13.5), ("face", "plate", 50.0))]
    [7.8, 6.1]

    .. [1] Shape factor of a disc in an infinite medium: T. L. Bergman et al., table 4.1 (from memory).
    """
    if zone not in NEIGHBOURS[kind].covered:
        return 0.0 * np.asarray(size_mm, float)
    if kind == "box":
        return BOX_W_M2K + 0.0 * np.asarray(size_mm, float)
    k, thick = SLEEVE if kind == "sleeve" else VERMICULITE
    if kind == "vermiculite" and shape == "plate":
        return 8.0 * k / (np.pi * 1e-3 * np.asarray(size_mm, float))
    return sleeve_w_m2k(SLEEVE_OUTSIDE_W_M2K, size_mm, thick, k)


#: Ways of heating by kind: convection, W/(m² K), factors on emissivity and on the square of the scale's thickness, coil
#: (``data/constants/furnaces.csv``).
FURNACES = {
    r["kind"]: tuple(map(float, list(r.values())[1:5])) for r in read_rows("constants/furnaces.csv")
}
