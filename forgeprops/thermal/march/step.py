"""One time step: the two-stage Rosenbrock method with local error control.

ROS2 (Verwer, Spee, Blom & Hundsdorfer, SIAM J. Sci. Comput. 20 (1999) 1456; from memory): second order for any
matrix in place of the Jacobian, L-stable with gamma = 1 - 1/sqrt(2).  The matrix here holds conduction inside each
zone and the surface coefficients; the slow bridges between zones and the heat of transformation stay explicit.
"""

from __future__ import annotations

__all__ = ["GAMMA", "factorise", "solve"]

GAMMA = 1.0 - 0.5 ** 0.5


def factorise(matrix, loss_h, heat_capacity, gamma_h, offset, factor):
    """LU of (C + gamma h (K + H)) for every zone; it is symmetric positive definite, so no pivoting."""
    for z in range(matrix.shape[0]):
        first = offset[z]
        n = offset[z + 1] - first
        for i in range(n):
            for j in range(n):
                factor[z, i, j] = gamma_h * matrix[z, i, j]
            factor[z, i, i] += heat_capacity[first + i] + gamma_h * loss_h[first + i]
        for k in range(n):
            pivot = 1.0 / factor[z, k, k]
            factor[z, k, k] = pivot
            for i in range(k + 1, n):
                m = factor[z, i, k] * pivot
                factor[z, i, k] = m
                for j in range(k + 1, n):
                    factor[z, i, j] -= m * factor[z, k, j]


def solve(factor, offset, right, out):
    """Solve every zone's system for `right`."""
    for z in range(factor.shape[0]):
        first = offset[z]
        n = offset[z + 1] - first
        for i in range(n):
            total = right[first + i]
            for j in range(i):
                total -= factor[z, i, j] * out[first + j]
            out[first + i] = total
        for k in range(n):
            i = n - 1 - k
            total = out[first + i]
            for j in range(i + 1, n):
                total -= factor[z, i, j] * out[first + j]
            out[first + i] = total * factor[z, i, i]
