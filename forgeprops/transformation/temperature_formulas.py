"""Published formulas for the critical temperatures: one function per formula, nothing fitted here.

Every function takes `comp`, anything whose ``get(symbol)`` gives a content in wt% (a `Steel`, a dict,
arrays that broadcast), and where the formula contains carbon also `carbon`, which replaces the steel's own
(enriched austenite).  The result is in °C, a float or an array of the broadcast shape.  What the originals
leave out (elements, ranges) is left out here too; choosing and warning is done in `temperatures`.
"""

from __future__ import annotations

import numpy as np

__all__ = ["AC1", "AC3", "AE1", "AE3", "BAINITE_START", "MARTENSITE_START", "content"]


def content(comp, symbol: str, carbon=None):
    """Content of `symbol` in wt%; `carbon` wins over the steel's own carbon, an element a dict lacks is 0."""
    value = carbon if symbol == "C" and carbon is not None else comp.get(symbol)
    return 0.0 if value is None else value


def _sum(comp, carbon=None, **per_percent):
    """Sum of content x coefficient."""
    return sum(k * content(comp, symbol, carbon) for symbol, k in per_percent.items())


def _celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


# --- equilibrium temperatures -------------------------------------------------------------------------------


def ae1_grange(comp):
    """Ae1 of R. A. Grange, Metal Progress 70(4) (1961) 73-75.  Read in A. A. Gorni, Steel Forming and Heat
    Treating Handbook, ed. 2009, and on eng-tips.com thread 56725; printed in °F.

    References
    ----------
    .. [1] R. A. Grange, Metal Progress 79 (April 1961) 73-75, as quoted in A. A. Gorni, Steel
       Forming and Heat Treating Handbook, ed. 2009; printed in °F (read).
    """
    return _celsius(1333.0 + _sum(comp, Mn=-25.0, Si=40.0, Cr=42.0, Ni=-26.0))


def ae3_grange(comp, carbon=None):
    """Ae3 of R. A. Grange, Metal Progress 70(4) (1961) 73-75.  Read in the same two places; printed in °F.

    References
    ----------
    .. [1] R. A. Grange, Metal Progress 79 (April 1961) 73-75, as quoted in A. A. Gorni, Steel
       Forming and Heat Treating Handbook, ed. 2009; printed in °F (read).
    """
    return _celsius(1570.0 + _sum(comp, carbon, C=-323.0, Mn=-25.0, Si=80.0, Cr=-3.0, Ni=-32.0))


def ae1_andrews(comp):
    """Ae1 of K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727.  Read in Gorni's handbook, ed. 2009
    and 2012.

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727, as quoted in A. A. Gorni, Steel
       Forming and Heat Treating Handbook, ed. 2009 and 2012 (read).
    """
    return 723.0 + _sum(comp, Mn=-10.7, Ni=-16.9, Si=29.1, Cr=16.9, W=6.38, As=290.0)


def ae3_andrews(comp, carbon=None):
    """Ae3 of Andrews 1965 without the terms in Mn, Cr, Cu, P, Al, Ti ("short form").  Coefficients read in
    Gorni's handbook, ed. 2009; the square root on carbon from memory.

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727; the square root of carbon (from
       memory).
    """
    return (
        910.0
        - 203.0 * np.sqrt(np.maximum(content(comp, "C", carbon), 0.0))
        + _sum(comp, Ni=-15.2, Si=44.7, V=104.0, Mo=31.5, W=13.1)
    )


def ae3_andrews_long(comp, carbon=None):
    """Ae3 of Andrews 1965 with every term.  Magnitudes read in Gorni's handbook, ed. 2009 and 2012; the
    signs of Mn Cr Cu P Al As Ti are those physics asks for (the compilation lost a bracket).

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727; signs of Mn, Cr, Cu, P, Al, As, Ti
       by physics (the quotation lost a bracket) (derived).
    """
    return ae3_andrews(comp, carbon) + _sum(
        comp, Mn=-30.0, Cr=-11.0, Cu=-20.0, P=700.0, Al=400.0, As=120.0, Ti=400.0
    )


def ae1_eldis(comp):
    """Ae1 of Eldis, in Barralis & Maeder, Métallurgie I (1982).  Read in Gorni's handbook, ed. 2009 and
    2012.

    References
    ----------
    .. [1] Eldis, in J. Barralis & G. Maeder, Métallurgie I (1982), as quoted in A. A. Gorni, Steel
       Forming and Heat Treating Handbook, ed. 2009 and 2012 (read).
    """
    return 712.0 + _sum(comp, Mn=-17.8, Ni=-19.1, Si=20.1, Cr=11.9, Mo=9.8)


def ae3_eldis(comp, carbon=None):
    """Ae3 of Eldis, in Barralis & Maeder (1982).  Read in Gorni's handbook, ed. 2009 and 2012.

    References
    ----------
    .. [1] Eldis, in J. Barralis & G. Maeder, Métallurgie I (1982), as quoted in A. A. Gorni, Steel
       Forming and Heat Treating Handbook, ed. 2009 and 2012 (read).
    """
    return 871.0 + _sum(comp, carbon, C=-254.4, Ni=-14.2, Si=51.7)


# --- temperatures on heating --------------------------------------------------------------------------------


def ac1_hougardy(comp):
    """Ac1 of H. P. Hougardy, Werkstoffkunde Stahl (1984).  Magnitudes read in Gorni's handbook, ed. 2012;
    signs from memory.

    References
    ----------
    .. [1] H. P. Hougardy, Werkstoffkunde Stahl (1984); signs (from memory).
    """
    return 739.0 + _sum(comp, C=-22.0, Mn=-7.0, Si=2.0, Cr=14.0, Mo=13.0, Ni=-13.0)


def ac3_hougardy(comp, carbon=None):
    """Ac3 of H. P. Hougardy, Werkstoffkunde Stahl (1984), from memory.

    References
    ----------
    .. [1] H. P. Hougardy, Werkstoffkunde Stahl (1984) (from memory).
    """
    return 902.0 + _sum(
        comp, carbon, C=-255.0, Mn=-11.0, Si=19.0, Cr=-5.0, Mo=13.0, Ni=-20.0, V=55.0
    )


def ac1_steelmaker(comp):
    """Ac1 quoted on eng-tips.com thread 56725 (2002) from a Japanese steelmaker's welding pages (read); the
    primary paper is not identified."""
    return 750.8 + _sum(
        comp,
        C=-26.6,
        Si=17.6,
        Mn=-11.6,
        Cu=-22.9,
        Ni=-23.0,
        Cr=24.1,
        Mo=22.5,
        V=-39.7,
        Ti=-5.7,
        Nb=232.4,
        Al=-169.4,
        B=-894.7,
    )


def ac3_steelmaker(comp, carbon=None):
    """Ac3 quoted in the same place (read); the primary paper is not identified."""
    return 937.2 + _sum(
        comp,
        carbon,
        C=-436.5,
        Si=56.0,
        Mn=-19.7,
        Cu=-16.3,
        Ni=-26.6,
        Cr=-4.9,
        Mo=38.1,
        V=124.8,
        Ti=136.3,
        Nb=-19.1,
        Al=198.4,
        B=3315.0,
    )


def ac1_trzaska(comp):
    """Ac1 of J. Trzaska & L. A. Dobrzański, J. Mater. Process. Technol. 192-193 (2007) 504, from memory (low
    confidence).

    References
    ----------
    .. [1] J. Trzaska & L. A. Dobrzański, J. Mater. Process. Technol. 192-193 (2007) 504 (from
       memory).
    """
    return 739.0 + _sum(
        comp, C=-22.8, Mn=-6.8, Si=18.2, Cr=11.7, Ni=-15.0, Mo=-6.4, V=-5.0, Cu=-28.0
    )


def ac3_trzaska(comp, carbon=None):
    """Ac3 of J. Trzaska & L. A. Dobrzański (2007), from memory.

    References
    ----------
    .. [1] J. Trzaska & L. A. Dobrzański, J. Mater. Process. Technol. 192-193 (2007) 504 (from
       memory).
    """
    return (
        937.3
        - 224.5 * np.sqrt(np.maximum(content(comp, "C", carbon), 0.0))
        + _sum(comp, Mn=-17.0, Si=34.0, Ni=-14.0, Mo=21.6, V=41.8, Cu=-20.0)
    )


# --- martensite start ---------------------------------------------------------------------------------------


def ms_andrews(comp, carbon=None):
    """Ms of Andrews 1965, linear form.  Read in the appendix of a university study of SA508/SA540 steels.

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727 (read).
    """
    return 539.0 + _sum(comp, carbon, C=-423.0, Mn=-30.4, Ni=-17.7, Cr=-12.1, Mo=-7.5)


def ms_andrews_product(comp, carbon=None):
    """Ms of Andrews 1965, product form, from memory.  Meant for C < 0.6; carbon above the vertex of its
    parabola is held there, so that Ms never rises with carbon.

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727 (from memory).
    """
    mn, cr = content(comp, "Mn"), content(comp, "Cr")
    vertex = (453.0 + 71.5 * mn + 67.6 * cr) / (2.0 * 217.0)
    c = np.minimum(content(comp, "C", carbon), vertex)
    return (
        512.0
        - 453.0 * c
        + 217.0 * c * c
        - 71.5 * c * mn
        - 67.6 * c * cr
        + _sum(comp, Ni=-16.9, Cr=15.0, Mo=-9.5)
    )


def ms_steven_haynes(comp, carbon=None):
    """Ms of W. Steven & A. G. Haynes, J. Iron Steel Inst. 183 (1956) 349-359.  Read twice (the study named
    under `ms_andrews`; eng-tips.com thread 56725 in °F).

    References
    ----------
    .. [1] W. Steven & A. G. Haynes, J. Iron Steel Inst. 183 (1956) 349-359 (read).
    """
    return 561.0 + _sum(comp, carbon, C=-474.0, Mn=-33.0, Cr=-17.0, Ni=-17.0, Mo=-21.0)


def ms_kung_rayment(comp, carbon=None):
    """Andrews' linear Ms with the Co and Si terms of C. Y. Kung & J. J. Rayment, Metall. Trans. A 13
    (1982) 328 (read in the study named under `ms_andrews`).

    References
    ----------
    .. [1] C. Y. Kung & J. J. Rayment, Metall. Trans. A 13 (1982) 328 (read).
    """
    return ms_andrews(comp, carbon) + _sum(comp, Co=10.0, Si=-7.5)


def ms_van_bohemen(comp, carbon=None):
    """Ms of S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495, from memory; it has the least
    error of the published forms on the open measured set.

    References
    ----------
    .. [1] S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495 (from memory).
    """
    c = content(comp, "C", carbon)
    return (
        565.0
        + _sum(comp, Mn=-31.0, Si=-13.0, Cr=-10.0, Ni=-18.0, Mo=-12.0)
        - 600.0 * (1.0 - np.exp(-0.96 * c))
    )


def ms_capdevila(comp, carbon=None):
    """Ms of C. Capdevila, F. G. Caballero & C. García de Andrés, ISIJ Int. 42 (2002) 894, from memory;
    given in kelvin.

    References
    ----------
    .. [1] C. Capdevila, F. G. Caballero & C. García de Andrés, ISIJ Int. 42 (2002) 894 (from
       memory).
    """
    return (
        764.2
        - 273.15
        + _sum(
            comp,
            carbon,
            C=-302.6,
            Mn=-30.6,
            Ni=-16.6,
            Cr=-8.9,
            Mo=2.4,
            Cu=-11.3,
            Co=8.58,
            W=7.4,
            Si=-14.5,
        )
    )


def ms_steelmaker(comp, carbon=None):
    """Ms quoted on eng-tips.com thread 56725 from a Japanese steelmaker's welding pages (read); the
    primary paper is not identified."""
    return 521.0 + _sum(
        comp, carbon, C=-353.0, Si=-22.0, Mn=-24.3, Cu=-7.7, Ni=-17.3, Cr=-17.7, Mo=-25.8
    )


def ms_trzaska(comp, carbon=None):
    """Ms of J. Trzaska (2013-2016), from memory.

    References
    ----------
    .. [1] J. Trzaska, 2013 to 2016; paper not identified (from memory).
    """
    return 541.0 + _sum(comp, carbon, C=-401.0, Mn=-36.0, Si=-10.5, Cr=-14.0, Ni=-18.0, Mo=-17.0)


# --- bainite start ------------------------------------------------------------------------------------------


def bs_steven_haynes(comp, carbon=None):
    """Bs of Steven & Haynes 1956, eq. 1 in Metall. Mater. Trans. A (2019) doi 10.1007/s11661-019-05371-1
    (read).

    References
    ----------
    .. [1] W. Steven & A. G. Haynes, J. Iron Steel Inst. 183 (1956) 349-359, as quoted in Metall.
       Mater. Trans. A (2019) doi 10.1007/s11661-019-05371-1, eq. 1 (read).
    """
    return 830.0 + _sum(comp, carbon, C=-270.0, Mn=-90.0, Ni=-37.0, Cr=-70.0, Mo=-83.0)


def bs_kirkaldy(comp, carbon=None):
    """Bs of J. S. Kirkaldy & D. Venugopalan (1984), a kinetic limit, eq. 2 of the same paper (read;
    attribution from memory).

    References
    ----------
    .. [1] Metall. Mater. Trans. A (2019) doi 10.1007/s11661-019-05371-1, eq. 2 (read).
    .. [2] Attribution to J. S. Kirkaldy & D. Venugopalan 1984 (from memory).
    """
    return 656.0 + _sum(comp, carbon, C=-57.7, Si=-75.0, Mn=-35.0, Ni=-15.3, Cr=-34.0, Mo=-41.2)


def bs_li(comp, carbon=None):
    """Bs of M. V. Li et al., Metall. Mater. Trans. B 29 (1998) 661-672 (read): the kinetic limit that
    belongs to their rate equations.

    References
    ----------
    .. [1] M. V. Li, D. V. Niebuhr, L. L. Meekisho & D. G. Atteridge, Metall. Mater. Trans. B 29
       (1998) 661-672 (read).
    """
    return 637.0 + _sum(comp, carbon, C=-58.0, Mn=-35.0, Ni=-15.0, Cr=-34.0, Mo=-41.0)


def bs_bodnar(comp, carbon=None):
    """Bs of R. L. Bodnar et al. (1989), eq. 4 of the paper named under `bs_steven_haynes` (read;
    attribution from memory).

    References
    ----------
    .. [1] Metall. Mater. Trans. A (2019) doi 10.1007/s11661-019-05371-1, eq. 4 (read).
    .. [2] Attribution to R. L. Bodnar et al. 1989 (from memory).
    """
    return 844.0 + _sum(comp, carbon, C=-597.0, Mn=-63.0, Ni=-16.0, Cr=-78.0)


def bs_van_bohemen(comp, carbon=None):
    """Bs of van Bohemen 2012, from memory; it has the least error of the published forms on the open measured
    set (Si < 0.6 %).

    References
    ----------
    .. [1] S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495 (from memory).
    """
    c = content(comp, "C", carbon)
    return (
        839.0
        + _sum(comp, Mn=-86.0, Si=-23.0, Cr=-67.0, Ni=-33.0, Mo=-75.0)
        - 270.0 * (1.0 - np.exp(-1.33 * c))
    )


def bs_lee(comp, carbon=None):
    """Bs of Y.-K. Lee, J. Mater. Sci. Lett. 21 (2002) 1253, from memory.

    References
    ----------
    .. [1] Y.-K. Lee, J. Mater. Sci. Lett. 21 (2002) 1253 (from memory).
    """
    mn, ni, cr, mo = (content(comp, s) for s in ("Mn", "Ni", "Cr", "Mo"))
    return (
        745.0
        - 110.0 * content(comp, "C", carbon)
        - 59.0 * mn
        - 39.0 * ni
        - 68.0 * cr
        - 106.0 * mo
        + 17.0 * mn * ni
        + 6.0 * cr * cr
        + 29.0 * mo * mo
    )


def bs_trzaska(comp, carbon=None):
    """Bs of J. Trzaska (2013-2016), from memory.

    References
    ----------
    .. [1] J. Trzaska, 2013 to 2016; paper not identified (from memory).
    """
    return 771.0 + _sum(
        comp, carbon, C=-231.0, Mn=-69.0, Si=-23.0, Cr=-58.0, Ni=-31.0, Mo=-55.0, V=-41.0
    )


AE1 = {"grange": ae1_grange, "andrews": ae1_andrews, "eldis": ae1_eldis}
AE3 = {
    "grange": ae3_grange,
    "andrews": ae3_andrews,
    "andrews_long": ae3_andrews_long,
    "eldis": ae3_eldis,
}
AC1 = {"hougardy": ac1_hougardy, "steelmaker": ac1_steelmaker, "trzaska": ac1_trzaska}
AC3 = {"hougardy": ac3_hougardy, "steelmaker": ac3_steelmaker, "trzaska": ac3_trzaska}
MARTENSITE_START = {
    "van_bohemen": ms_van_bohemen,
    "andrews": ms_andrews,
    "andrews_product": ms_andrews_product,
    "steven_haynes": ms_steven_haynes,
    "kung_rayment": ms_kung_rayment,
    "capdevila": ms_capdevila,
    "steelmaker": ms_steelmaker,
    "trzaska": ms_trzaska,
}
BAINITE_START = {
    "van_bohemen": bs_van_bohemen,
    "steven_haynes": bs_steven_haynes,
    "kirkaldy": bs_kirkaldy,
    "li": bs_li,
    "bodnar": bs_bodnar,
    "lee": bs_lee,
    "trzaska": bs_trzaska,
}
