"""Published formulas for the critical temperatures, °C: one function per formula, nothing fitted here.

Every function takes `comp`, anything whose ``get(symbol)`` gives a content in wt% (a `Steel`, a dict, arrays that
broadcast), and where the formula contains carbon also `carbon`, which replaces the steel's own (enriched austenite).
What the originals leave out (elements, ranges) is left out here too; choosing and warning is done in `temperatures`.
"""

import numpy as np

from ..base.constants import ZERO_C_K


def content(comp, symbol: str, carbon=None):
    """Content of `symbol` in wt%; `carbon` wins over the steel's own carbon, an element a dict lacks is 0."""
    value = carbon if symbol == "C" and carbon is not None else comp.get(symbol)
    return 0.0 if value is None else value


def _sum(comp, carbon=None, **per_percent):
    """Sum of content x coefficient."""
    return sum(k * content(comp, symbol, carbon) for symbol, k in per_percent.items())


def _root_carbon(comp, carbon):
    return np.sqrt(np.maximum(content(comp, "C", carbon), 0.0))


def _celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


# --- equilibrium temperatures ---


def ae1_grange(comp):
    """Ae1 by Grange.

    References
    ----------
    .. [1] R. A. Grange, Metal Progress 79 (April 1961) 73-75, as quoted in A. A. Gorni, Steel Forming and
       Heat Treating Handbook, ed. 2009; printed in °F (read).
    """
    return _celsius(1333.0 + _sum(comp, Mn=-25.0, Si=40.0, Cr=42.0, Ni=-26.0))


def ae3_grange(comp, carbon=None):
    """Ae3 by Grange.

    References
    ----------
    .. [1] R. A. Grange, Metal Progress 79 (April 1961) 73-75, as quoted in A. A. Gorni, Steel Forming and
       Heat Treating Handbook, ed. 2009; printed in °F (read).
    """
    return _celsius(1570.0 + _sum(comp, carbon, C=-323.0, Mn=-25.0, Si=80.0, Cr=-3.0, Ni=-32.0))


def ae1_andrews(comp):
    """Ae1 by Andrews.

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727, as quoted in A. A. Gorni, Steel Forming
       and Heat Treating Handbook, ed. 2009 and 2012 (read).
    """
    return 723.0 + _sum(comp, Mn=-10.7, Ni=-16.9, Si=29.1, Cr=16.9, W=6.38, As=290.0)


def ae3_andrews(comp, carbon=None):
    """Ae3 by Andrews without the terms in Mn, Cr, Cu, P, Al, As, Ti ("short form").

    References
    ----------
    .. [1] Coefficients: K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727, as quoted in A. A. Gorni,
       Steel Forming and Heat Treating Handbook, ed. 2009 (read).
    .. [2] Square root of carbon (from memory).
    """
    root = 203.0 * _root_carbon(comp, carbon)
    return 910.0 - root + _sum(comp, Ni=-15.2, Si=44.7, V=104.0, Mo=31.5, W=13.1)


def ae3_andrews_long(comp, carbon=None):
    """Ae3 by Andrews with every term.

    References
    ----------
    .. [1] Magnitudes: K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727, as quoted in A. A. Gorni,
       Steel Forming and Heat Treating Handbook, ed. 2009 and 2012 (read).
    .. [2] Signs of Mn, Cr, Cu, P, Al, As, Ti by physics: the quotation lost a bracket (derived).
    """
    return ae3_andrews(comp, carbon) + _sum(
        comp, Mn=-30.0, Cr=-11.0, Cu=-20.0, P=700.0, Al=400.0, As=120.0, Ti=400.0
    )


def ae1_eldis(comp):
    """Ae1 by Eldis.

    References
    ----------
    .. [1] Eldis, in J. Barralis & G. Maeder, Métallurgie I (1982), as quoted in A. A. Gorni, Steel Forming
       and Heat Treating Handbook, ed. 2009 and 2012 (read).
    """
    return 712.0 + _sum(comp, Mn=-17.8, Ni=-19.1, Si=20.1, Cr=11.9, Mo=9.8)


def ae3_eldis(comp, carbon=None):
    """Ae3 by Eldis.

    References
    ----------
    .. [1] Eldis, in J. Barralis & G. Maeder, Métallurgie I (1982), as quoted in A. A. Gorni, Steel Forming
       and Heat Treating Handbook, ed. 2009 and 2012 (read).
    """
    return 871.0 + _sum(comp, carbon, C=-254.4, Ni=-14.2, Si=51.7)


# --- temperatures on heating ---


def ac1_hougardy(comp):
    """Ac1 by Hougardy.

    References
    ----------
    .. [1] Magnitudes: H. P. Hougardy, Werkstoffkunde Stahl (1984), as quoted in A. A. Gorni, Steel Forming
       and Heat Treating Handbook, ed. 2012 (read).
    .. [2] Signs of the coefficients (from memory).
    """
    return 739.0 + _sum(comp, C=-22.0, Mn=-7.0, Si=2.0, Cr=14.0, Mo=13.0, Ni=-13.0)


def ac3_hougardy(comp, carbon=None):
    """Ac3 by Hougardy.

    References
    ----------
    .. [1] H. P. Hougardy, Werkstoffkunde Stahl (1984) (from memory).
    """
    return 902.0 + _sum(
        comp, carbon, C=-255.0, Mn=-11.0, Si=19.0, Cr=-5.0, Mo=13.0, Ni=-20.0, V=55.0
    )


def ac1_trzaska(comp):
    """Ac1 by Trzaska & Dobrzański (low confidence).

    References
    ----------
    .. [1] J. Trzaska & L. A. Dobrzański, J. Mater. Process. Technol. 192-193 (2007) 504 (from memory).
    """
    return 739.0 + _sum(
        comp, C=-22.8, Mn=-6.8, Si=18.2, Cr=11.7, Ni=-15.0, Mo=-6.4, V=-5.0, Cu=-28.0
    )


def ac3_trzaska(comp, carbon=None):
    """Ac3 by Trzaska & Dobrzański.

    References
    ----------
    .. [1] J. Trzaska & L. A. Dobrzański, J. Mater. Process. Technol. 192-193 (2007) 504 (from memory).
    """
    root = 224.5 * _root_carbon(comp, carbon)
    return 937.3 - root + _sum(comp, Mn=-17.0, Si=34.0, Ni=-14.0, Mo=21.6, V=41.8, Cu=-20.0)


# --- martensite start ---


def ms_andrews(comp, carbon=None):
    """Ms by Andrews, linear form.

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727 (read).
    """
    return 539.0 + _sum(comp, carbon, C=-423.0, Mn=-30.4, Ni=-17.7, Cr=-12.1, Mo=-7.5)


def ms_andrews_product(comp, carbon=None):
    """Ms by Andrews, product form; for C < 0.6.

    Carbon above the vertex of its parabola is held there, so that Ms never rises with carbon.

    References
    ----------
    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727 (from memory).
    """
    mn, cr = content(comp, "Mn"), content(comp, "Cr")
    vertex = (453.0 + 71.5 * mn + 67.6 * cr) / (2.0 * 217.0)
    c = np.minimum(content(comp, "C", carbon), vertex)
    by_carbon = c * (-453.0 + 217.0 * c - 71.5 * mn - 67.6 * cr)
    return 512.0 + by_carbon + _sum(comp, Ni=-16.9, Cr=15.0, Mo=-9.5)


def ms_steven_haynes(comp, carbon=None):
    """Ms by Steven & Haynes.

    References
    ----------
    .. [1] W. Steven & A. G. Haynes, J. Iron Steel Inst. 183 (1956) 349-359 (read).
    """
    return 561.0 + _sum(comp, carbon, C=-474.0, Mn=-33.0, Cr=-17.0, Ni=-17.0, Mo=-21.0)


def ms_kung_rayment(comp, carbon=None):
    """Ms by Andrews, linear form, with Kung & Rayment's terms in Co and Si.

    References
    ----------
    .. [1] C. Y. Kung & J. J. Rayment, Metall. Trans. A 13 (1982) 328 (read).
    """
    return ms_andrews(comp, carbon) + _sum(comp, Co=10.0, Si=-7.5)


def ms_van_bohemen(comp, carbon=None):
    """Ms by van Bohemen: least error of the published forms on the open measured set.

    References
    ----------
    .. [1] S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495 (from memory).
    """
    by_carbon = 600.0 * (1.0 - np.exp(-0.96 * content(comp, "C", carbon)))
    return 565.0 + _sum(comp, Mn=-31.0, Si=-13.0, Cr=-10.0, Ni=-18.0, Mo=-12.0) - by_carbon


def ms_capdevila(comp, carbon=None):
    """Ms by Capdevila et al. (printed in K).

    References
    ----------
    .. [1] C. Capdevila, F. G. Caballero & C. García de Andrés, ISIJ Int. 42 (2002) 894 (from memory).
    """
    metals = _sum(comp, Mn=-30.6, Ni=-16.6, Cr=-8.9, Mo=2.4, Cu=-11.3, Co=8.58, W=7.4, Si=-14.5)
    return 764.2 - ZERO_C_K + _sum(comp, carbon, C=-302.6) + metals


def ms_trzaska(comp, carbon=None):
    """Ms by Trzaska.

    References
    ----------
    .. [1] J. Trzaska, 2013 to 2016; paper not identified (from memory).
    """
    return 541.0 + _sum(comp, carbon, C=-401.0, Mn=-36.0, Si=-10.5, Cr=-14.0, Ni=-18.0, Mo=-17.0)


# --- bainite start ---


def bs_steven_haynes(comp, carbon=None):
    """Bs by Steven & Haynes.

    References
    ----------
    .. [1] W. Steven & A. G. Haynes, J. Iron Steel Inst. 183 (1956) 349-359, as quoted in Metall. Mater.
       Trans. A (2019) doi 10.1007/s11661-019-05371-1, eq. 1 (read).
    """
    return 830.0 + _sum(comp, carbon, C=-270.0, Mn=-90.0, Ni=-37.0, Cr=-70.0, Mo=-83.0)


def bs_kirkaldy(comp, carbon=None):
    """Bs by Kirkaldy & Venugopalan, a kinetic limit.

    References
    ----------
    .. [1] Metall. Mater. Trans. A (2019) doi 10.1007/s11661-019-05371-1, eq. 2 (read).
    .. [2] Attribution to J. S. Kirkaldy & D. Venugopalan 1984 (from memory).
    """
    return 656.0 + _sum(comp, carbon, C=-57.7, Si=-75.0, Mn=-35.0, Ni=-15.3, Cr=-34.0, Mo=-41.2)


def bs_li(comp, carbon=None):
    """Bs by Li et al.: the kinetic limit that belongs to their rate equations.

    References
    ----------
    .. [1] M. V. Li, D. V. Niebuhr, L. L. Meekisho & D. G. Atteridge, Metall. Mater. Trans. B 29 (1998)
       661-672 (read).
    """
    mn, ni, cr, mo = (content(comp, s) for s in ("Mn", "Ni", "Cr", "Mo"))
    return 637.0 - 58.0 * content(comp, "C", carbon) - 35.0 * mn - 15.0 * ni - 34.0 * cr - 41.0 * mo


def bs_bodnar(comp, carbon=None):
    """Bs by Bodnar et al.

    References
    ----------
    .. [1] Metall. Mater. Trans. A (2019) doi 10.1007/s11661-019-05371-1, eq. 4 (read).
    .. [2] Attribution to R. L. Bodnar et al. 1989 (from memory).
    """
    return 844.0 + _sum(comp, carbon, C=-597.0, Mn=-63.0, Ni=-16.0, Cr=-78.0)


def bs_van_bohemen(comp, carbon=None):
    """Bs by van Bohemen: least error of the published forms on the open measured set (Si < 0.6 %).

    References
    ----------
    .. [1] S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495 (from memory).
    """
    by_carbon = 270.0 * (1.0 - np.exp(-1.33 * content(comp, "C", carbon)))
    return 839.0 + _sum(comp, Mn=-86.0, Si=-23.0, Cr=-67.0, Ni=-33.0, Mo=-75.0) - by_carbon


def bs_lee(comp, carbon=None):
    """Bs by Lee.

    References
    ----------
    .. [1] Y.-K. Lee, J. Mater. Sci. Lett. 21 (2002) 1253 (from memory).
    """
    mn, ni, cr, mo = (content(comp, s) for s in ("Mn", "Ni", "Cr", "Mo"))
    linear = _sum(comp, carbon, C=-110.0, Mn=-59.0, Ni=-39.0, Cr=-68.0, Mo=-106.0)
    return 745.0 + linear + 17.0 * mn * ni + 6.0 * cr * cr + 29.0 * mo * mo


def bs_trzaska(comp, carbon=None):
    """Bs by Trzaska.

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
AC1 = {"hougardy": ac1_hougardy, "trzaska": ac1_trzaska}
AC3 = {"hougardy": ac3_hougardy, "trzaska": ac3_trzaska}
MARTENSITE_START = {
    "van_bohemen": ms_van_bohemen,
    "andrews": ms_andrews,
    "andrews_product": ms_andrews_product,
    "steven_haynes": ms_steven_haynes,
    "kung_rayment": ms_kung_rayment,
    "capdevila": ms_capdevila,
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
