"""One time step: the two-stage Rosenbrock method with local error control.

ROS2 (Verwer, Spee, Blom & Hundsdorfer, SIAM J. Sci. Comput. 20 (1999) 1456; from memory): second order for any
matrix in place of the Jacobian, L-stable with gamma = 1 - 1/sqrt(2).  The matrix holds conduction inside each zone,
the slopes of the surface losses and the bridges between zones; the heat of ferrite, pearlite and bainite is explicit.
"""

from __future__ import annotations

__all__ = ["GAMMA", "factorise", "solve"]

GAMMA = 1.0 - 0.5**0.5


def factorise(
    conduction,
    stiff,
    loss_h,
    bridge,
    heat_capacity,
    gamma_h,
    marker,
    weight,
    factor,
    shape,
    pull,
    chain,
):
    """Prepare (C + gamma h A) x = b, A = conduction + surface slopes in each zone + bridges from mean to mean.

    Every zone's own matrix is symmetric positive definite: LU without pivoting into `factor`.  A bridge acts on the
    means of two zones alone, so its effect is a multiple of `shape` = (own matrix)^-1 weight in each; what multiple
    follows from a chain of one number a zone (`pull` = weight . shape, `chain` = its tridiagonal factors).
    """
    n = len(marker)
    zones = factor.shape[0]
    for z in range(zones):
        first = z * n
        g = gamma_h * conduction[z]
        for i in range(n):
            for j in range(n):
                factor[z, i, j] = g * stiff[i, j]
            factor[z, i, i] += heat_capacity[first + i] + gamma_h * loss_h[first + i]
        for k in range(n):
            pivot = 1.0 / factor[z, k, k]
            factor[z, k, k] = pivot
            for i in range(k + 1, n):
                m = factor[z, i, k] * pivot
                factor[z, i, k] = m
                for j in range(k + 1, n):
                    factor[z, i, j] -= m * factor[z, k, j]
        for i in range(n):
            total = weight[i]
            for j in range(i):
                total -= factor[z, i, j] * shape[first + j]
            shape[first + i] = total
        for k in range(n):
            i = n - 1 - k
            total = shape[first + i]
            for j in range(i + 1, n):
                total -= factor[z, i, j] * shape[first + j]
            shape[first + i] = total * factor[z, i, i]
        total = 0.0
        for i in range(n):
            total += weight[i] * shape[first + i]
        pull[z] = gamma_h * total
    # (1 + pull_z (g_z-1 + g_z)) m_z - pull_z g_z-1 m_z-1 - pull_z g_z m_z+1 = own mean
    for z in range(zones):
        left = bridge[z - 1] if z > 0 else 0.0
        right = bridge[z] if z < zones - 1 else 0.0
        diagonal = 1.0 + pull[z] * (left + right)
        if z > 0:
            diagonal -= pull[z] * left * chain[z - 1, 1]
        chain[z, 0] = 1.0 / diagonal
        chain[z, 1] = pull[z] * right / diagonal


def solve(factor, bridge, gamma_h, marker, weight, shape, pull, chain, means, right, out):
    """Solve the prepared system for `right`."""
    n = len(marker)
    zones = factor.shape[0]
    for z in range(zones):
        first = z * n
        for i in range(n):
            total = right[first + i]
            for j in range(i):
                total -= factor[z, i, j] * out[first + j]
            out[first + i] = total
        mean = 0.0
        for k in range(n):
            i = n - 1 - k
            total = out[first + i]
            for j in range(i + 1, n):
                total -= factor[z, i, j] * out[first + j]
            total *= factor[z, i, i]
            out[first + i] = total
            mean += weight[i] * total
        if z > 0:
            mean += pull[z] * bridge[z - 1] * means[z - 1]
        means[z] = mean * chain[z, 0]
    for k in range(zones - 1):
        z = zones - 2 - k
        means[z] += chain[z, 1] * means[z + 1]
    for z in range(zones):
        flow = 0.0
        if z > 0:
            flow += bridge[z - 1] * (means[z] - means[z - 1])
        if z < zones - 1:
            flow += bridge[z] * (means[z] - means[z + 1])
        if flow != 0.0:
            for i in range(n):
                out[z * n + i] -= gamma_h * flow * shape[z * n + i]
