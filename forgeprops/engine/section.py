"""Through-thickness scheme: one spectral element a zone (Gauss-Lobatto points, lumped mass).

A zone is a slab between a front and a back surface.  Its temperature is the polynomial through n points that
include both surfaces; conduction is the Galerkin form of the heat equation with the quadrature of the same points
(Patera, J. Comput. Phys. 54 (1984) 468; from memory), so that the mass matrix is diagonal, heat is conserved to
rounding and four or five points do what about twenty even layers do.
"""

from __future__ import annotations

import functools

import numpy as np


@functools.cache
def lobatto(points: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Positions on 0..1, weights that sum to 1, and the differentiation matrix of `points` Gauss-Lobatto points.

    >>> x, w, d = lobatto(3)
    >>> [round(float(v), 4) for v in w]        # Simpson's rule
    [0.1667, 0.6667, 0.1667]
    >>> bool(np.allclose(d @ x**2, 2 * x))
    True
    """
    if points == 1:
        return np.array([0.5]), np.array([1.0]), np.zeros((1, 1))
    legendre = np.polynomial.legendre.Legendre.basis(points - 1)
    x = np.concatenate([[-1.0], np.sort(legendre.deriv().roots().real), [1.0]])
    w = 2.0 / (points * (points - 1) * legendre(x) ** 2)
    difference = x[:, None] - x[None, :]
    np.fill_diagonal(difference, 1.0)
    bary = 1.0 / difference.prod(axis=1)
    d = bary[None, :] / bary[:, None] / difference
    np.fill_diagonal(d, 0.0)
    np.fill_diagonal(d, -d.sum(axis=1))
    return 0.5 * (x + 1.0), 0.5 * w, 2.0 * d


@functools.cache
def stiffness(points: int) -> np.ndarray:
    """K[i, j] = sum over q of w_q D_qi D_qj: conduction matrix of a slab of unit conductance.

    >>> bool(abs(stiffness(5).sum(axis=1)).max() < 1e-12)    # a level temperature carries no heat
    True
    """
    _, w, d = lobatto(points)
    return np.einsum("q,qi,qj->ij", w, d, d)
