"""How colours differ to eyes: CIECAM02 with its uniform space, and simulated colour blindness; references for tests.

CIECAM02: CIE 159:2004; the uniform space: Luo, Cui, Li 2006; colour blindness: Machado, Oliveira, Fernandes 2009,
severity 1, applied to linear sRGB. All from memory; the first is held to its published worked example in a test.
"""

from __future__ import annotations

import numpy as np

WHITE = np.array([95.047, 100.0, 108.883])
_SRGB = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_CAT02 = np.array([[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]])
_HPE = np.array([[0.38971, 0.68898, -0.07868], [-0.22981, 1.18340, 0.04641], [0.0, 0.0, 1.0]])
EYES = {
    "usual": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def linear(colour):
    """Linear sRGB of `#RRGGBB` or of three numbers from 0 to 255."""
    parts = [int(colour[n : n + 2], 16) for n in (1, 3, 5)] if isinstance(colour, str) else colour
    c = np.asarray(parts, dtype=float) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def ciecam02(xyz, white=WHITE, adapting=64 / np.pi / 5, background=20.0):
    """Lightness J, colourfulness M and hue in degrees, in an average surround."""
    surround, c, n_c = 1.0, 0.69, 1.0
    k = 1 / (5 * adapting + 1)
    f_l = 0.2 * k**4 * 5 * adapting + 0.1 * (1 - k**4) ** 2 * (5 * adapting) ** (1 / 3)
    n = background / white[1]
    n_bb = 0.725 * (1 / n) ** 0.2
    z = 1.48 + np.sqrt(n)
    d = np.clip(surround * (1 - 1 / 3.6 * np.exp((-adapting - 42) / 92)), 0, 1)
    scale = white[1] * d / (_CAT02 @ white) + 1 - d

    def response(one):
        cone = _HPE @ np.linalg.inv(_CAT02) @ (scale * (_CAT02 @ one))
        power = (f_l * np.abs(cone) / 100) ** 0.42
        return np.sign(cone) * 400 * power / (27.13 + power) + 0.1

    def achromatic(r):
        return (2 * r[0] + r[1] + r[2] / 20 - 0.305) * n_bb

    r = response(np.asarray(xyz, dtype=float))
    a = r[0] - 12 * r[1] / 11 + r[2] / 11
    b = (r[0] + r[1] - 2 * r[2]) / 9
    hue = np.degrees(np.arctan2(b, a)) % 360
    e_t = (np.cos(np.radians(hue) + 2) + 3.8) / 4
    lightness = 100 * (achromatic(r) / achromatic(response(white))) ** (c * z)
    t = 50000 / 13 * n_c * n_bb * e_t * np.hypot(a, b) / (r[0] + r[1] + 21 / 20 * r[2])
    chroma = t**0.9 * np.sqrt(lightness / 100) * (1.64 - 0.29**n) ** 0.73
    return lightness, chroma * f_l**0.25, hue


def difference(one, other, eyes="usual"):
    """Distance of two colours in CAM02-UCS, as the eyes named see them."""

    def place(colour):
        seen = np.clip(EYES[eyes] @ linear(colour), 0, 1)
        lightness, colourful, hue = ciecam02(_SRGB @ seen * 100)
        m = np.log(1 + 0.0228 * colourful) / 0.0228
        angle = np.radians(hue)
        return np.array([1.7 * lightness / (1 + 0.007 * lightness), m * np.cos(angle), m * np.sin(angle)])

    return float(np.linalg.norm(place(one) - place(other)))
