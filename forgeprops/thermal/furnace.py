"""How a head is preheated: what each kind of furnace does to its surface, and a coil."""

from typing import NamedTuple


class Furnace(NamedTuple):
    """A way of heating."""

    #: Beside radiation, which carries 150-300 W/(m² K) at 900-1000 °C, so this number matters little.
    convection_w_m2k: float
    emissivity_factor: float  #: on the emissivity of the oxidised head
    scale_factor: float  #: on the square of the scale's thickness in a gas furnace
    coil: float  #: 1: heat comes into the metal itself, evenly, along a straight rise to temperature at the end


#: Gas: 10-30 W/(m² K) is usual; electric: still air; protective: gas that neither scales nor takes carbon, and bright steel radiates
#: about half as much as oxidised; induction: short heats in air (common practice, no source).  Scale in an electric furnace is that of
#: air, 1/0.65 as thick as in flue gas (`forging.scale.ATMOSPHERES`).
FURNACES = {
    "gas": Furnace(20.0, 1.0, 1.0, 0.0),
    "electric": Furnace(10.0, 1.0, 0.65**-2, 0.0),
    "protective": Furnace(20.0, 0.5, 0.0, 0.0),
    "induction": Furnace(0.0, 0.0, 1.0, 1.0),
}
