"""Simulated colour vision, and how far two colours are apart in it."""

import numpy as np

#: Smallest difference (CIE 1976) that two colours of one picture must keep.  About 2 is just seen side by side;
#: thin lines and small marks apart from each other need about ten times that (our choice).
APART = 20.0

#: Matrices for linear RGB at full severity: Machado, Oliveira & Fernandes 2009, "A physiologically-based model
#: for simulation of color vision deficiency", IEEE TVCG 15(6), 1291-1298.  All digits agree with the table that
#: colorspacious 1.1.2 prints (`machado_et_al_2009_matrix(kind, 100)`).
KINDS = {
    "normal": np.eye(3),
    "protanopia": np.array([
        (0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)]),
    "deuteranopia": np.array([
        (0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)]),
    "tritanopia": np.array([
        (1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)]),
}  # fmt: skip
#: Linear sRGB to CIE XYZ, and the white D65: IEC 61966-2-1, from memory.
_XYZ = np.array([
    (0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041),
])  # fmt: skip
_WHITE = np.array([0.95047, 1.0, 1.08883])


def lab(colour: str, kind: str) -> np.ndarray:
    """CIE L*a*b* of "#RRGGBB" as eyes of this kind see it."""
    srgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    x = _XYZ @ np.clip(KINDS[kind] @ linear, 0, 1) / _WHITE
    f = np.where(x > 0.008856, np.cbrt(x), 7.787 * x + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def difference(one: str, other: str, kind: str) -> float:
    """CIE 1976 colour difference of two colours as eyes of this kind see them."""
    return float(np.linalg.norm(lab(one, kind) - lab(other, kind)))
