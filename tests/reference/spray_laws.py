"""Six published laws of film boiling under a spray, to show their spread."""

from forgeprops.thermal.spray import spray_w_m2k


def spray_film_laws_w_m2k(flux_kg_m2_s, surface_c, water_c=20.0):
    """What the published laws say of film boiling at one setting, W/(m² K), to show their spread.

    Wendelstorf et al. 2008; Nozaki et al., Trans. ISIJ 18 (1978) 330, with its plant factor 4; Müller & Jeschar 1973 at
    20 m/s drop speed (from memory).  Ishiguro 1974; Bolle & Moureau 1946; Sasaki et al. 1979 in kW (read in a list of
    secondary-cooling laws).

    >>> for law, h in spray_film_laws_w_m2k(10.0, 900.0).items():
    ...     print(f"{law:<17}{h:5.0f}")
    Wendelstorf 2008  1237
    Nozaki 1978       1184
    Ishiguro 1974     1395
    Bolle 1946        1522
    Sasaki 1979       1251
    Müller 1973       1408
    """
    v, weak = flux_kg_m2_s, 1 - 0.0075 * water_c
    return {
        "Wendelstorf 2008": spray_w_m2k(v, surface_c, water_c),
        "Nozaki 1978": 1570 / 4 * v**0.55 * weak,
        "Ishiguro 1974": 581 * v**0.451 * weak,
        "Bolle 1946": 423 * v**0.556,
        "Sasaki 1979": 1e3 * (708 * v**0.75 * surface_c**-1.2 + 0.116),
        "Müller 1973": 10 * 20 + (107 + 0.688 * 20) * v,
    }
