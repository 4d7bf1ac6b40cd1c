"""Bending of a round section by general library routines."""

import math

import numpy as np
from scipy.integrate import quad

from forgeprops.hosel.bench import force_for_angle, load


def moment_nmm(curve, outside_mm, bore_mm, k_per_mm, **options):
    """Moment of a bored round at a curvature, by quadrature of stress over the section between its corners."""
    big, small = outside_mm / 2, bore_mm / 2

    def part(y):
        inner = math.sqrt(small**2 - y * y) if y < small else 0.0
        return 4 * float(curve.stress_mpa(k_per_mm * y)) * y * (math.sqrt(big**2 - y * y) - inner)

    strains = curve.yield_mpa / curve.youngs_mpa, curve.hardening_starts
    corners = small, *(strain / k_per_mm for strain in strains)
    cuts = sorted({0.0, big, *(x for x in corners if 0 < x < big)})
    return sum(quad(part, a, c, **options)[0] for a, c in zip(cuts, cuts[1:], strict=False))


def second_moment_mm4(outside_mm, bore_mm=0.0):
    return math.pi / 64.0 * (outside_mm**4 - bore_mm**4)


def elastic_modulus_mm3(outside_mm, bore_mm=0.0):
    return 2.0 * second_moment_mm4(outside_mm, bore_mm) / outside_mm


def plastic_modulus_mm3(outside_mm, bore_mm=0.0):
    return (outside_mm**3 - bore_mm**3) / 6.0


def along(bend, degrees, points=41):
    """Moment and strain along the bend zone under the load that leaves `degrees`."""
    nodes = bend.bench.nodes(np.linspace(0.0, 1.0, points), np.full(points, 1.0 / points))
    force = force_for_angle(bend.bench.nodes(), np.radians([degrees])).x
    found, kept = load(nodes, force), nodes.real[0]
    permanent = nodes.fibre_mm * (found.curvature - nodes.elastic(force))
    columns = {"moment_nm": force * nodes.arm_mm / 1000.0, "outer_strain": found.strain}
    return {n: v[0, kept] for n, v in {**columns, "permanent_strain": permanent}.items()}
