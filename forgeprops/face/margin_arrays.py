"""Margin of thousands of faces at the strike: what `face.strike_of_head` tells of one head, on arrays."""

from __future__ import annotations

import inspect

import numpy as np

from .ball_impact import strike_load
from .margin import LAYERS_LOOKED_AT, core_hv, face_margin_array, face_strike

__all__ = ["face_margin_of_heads", "layers_of_faces"]

#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "layers_of_faces": (),
    "face_margin_of_heads": (
        "clamped_rectangle",
        "dynamic_overshoot",
        "fatigue_limit",
        "shakedown",
    ),
}

_DEFAULTS = {name: p.default for name, p in inspect.signature(face_strike).parameters.items()}
#: Strength falls faster than hardness, at most with its square: a layer inside needs a look only where the
#: square of its hardness, as a share of its skin's, is below its share of the skin's stress.
_STEEPEST = 2.0


def layers_of_faces(points_hv: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """Hardness through the finished thickness, front to back, HV, shape (n, layers).

    Parameters
    ----------
    points_hv : array, shape (n, points)
        Gauss-Lobatto points through the forged thickness.
    kept : array, shape (n,)
        Finished over forged thickness; the recess is milled from the back.
    """
    from ..engine.section import lobatto

    nodes = np.asarray(lobatto(points_hv.shape[1])[0])
    at = kept[:, None] * np.linspace(0.0, 1.0, LAYERS_LOOKED_AT)
    i = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    share = (at - nodes[i]) / (nodes[i + 1] - nodes[i])
    rows = np.arange(len(points_hv))[:, None]
    return points_hv[rows, i] + share * (points_hv[rows, i + 1] - points_hv[rows, i])


def face_margin_of_heads(
    thickness_mm,
    forged_mm,
    length_mm,
    height_mm,
    head_mass_g,
    face_hv,
    rim_hv,
    *,
    ferrite_pearlite_share,
    bainite_share,
    martensite_share,
) -> np.ndarray:
    """Margin of many heads at the default strike of `face_strike`.

    Parameters
    ----------
    thickness_mm, forged_mm, length_mm, height_mm, head_mass_g : array, shape (n,)
        Finished and forged thickness of the face, its free span, finished mass.
    face_hv, rim_hv : array, shape (n, points)
        Hardness at the points through face and rim, front to back.
    ..._share : array, shape (n,)
        Structure of the face.

    Returns
    -------
    ndarray, shape (n,)
    """
    layers = layers_of_faces(face_hv, thickness_mm / forged_mm)
    layers[:, 0] = np.minimum(layers[:, 0], rim_hv[:, 0])
    layers = np.clip(layers, 60.0, 900.0)
    force, patch = strike_load(
        head_mass_g,
        *(_DEFAULTS[name] for name in ("speed_m_s", "loft_deg", "restitution", "contact_s")),
    )
    per_face = {
        "ferrite_pearlite_share": ferrite_pearlite_share,
        "bainite_share": bainite_share,
        "martensite_share": martensite_share,
        "core_hv": core_hv(layers),
    }
    always = {name: _DEFAULTS[name] for name in ("strikes", "finish", "contact_s")}

    def margins(rows, front, back, load, **more):
        return face_margin_array(
            thickness_mm[rows],
            front,
            back,
            load,
            patch[rows],
            length_mm[rows],
            height_mm[rows],
            **{k: v[rows] for k, v in per_face.items()},
            **always,
            **more,
        )

    margin = margins(slice(None), layers[:, 0], layers[:, -1], force)
    n = layers.shape[1]
    for i in range(1, n - 1):
        # share of the skin's stress at the layer's outer side: the back half is in tension at the centre, the
        # front half at the edge
        at_back, at_front = 2.0 * (i + 1) / n - 1.0, 1.0 - 2.0 * i / n
        which, share, skin = (0, at_back, -1) if at_back >= at_front else (1, at_front, 0)
        if share <= 0.0:
            continue
        rows = np.flatnonzero((layers[:, i] / layers[:, skin]) ** _STEEPEST < share)
        if len(rows):
            inside = margins(
                rows, layers[rows, i], layers[rows, i], force[rows] * share, details=True
            )
            margin[rows] = np.minimum(margin[rows], inside["by_place"][which])
    return margin
