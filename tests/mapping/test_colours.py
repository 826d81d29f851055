"""Colours of the classes as readers with a colour deficiency see them, and in grey."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from geosand.mapping.words import SCALES

#: Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision
#: Deficiency", IEEE TVCG 15(6), 2009: matrices for linear RGB at severity 1.0.
SIGHT = {
    "usual": np.eye(3),
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
#: sRGB to XYZ, D65: IEC 61966-2-1:1999.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def linear(colour):
    """Linear light of a ``#rrggbb`` colour: IEC 61966-2-1."""
    part = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def lab(light):
    """CIE 1976 L*a*b* of linear sRGB light, D65."""
    ratio = TO_XYZ @ np.clip(light, 0, 1) / TO_XYZ.sum(axis=1)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def seen(scale, sight):
    return np.array([lab(np.array(SIGHT[sight]) @ linear(colour)) for colour in SCALES[scale]])


def test_lab_agrees_with_published_values():
    # B. Lindbloom, brucelindbloom.com colour calculator: sRGB red, D65
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.1)
    assert lab(linear("#ffffff")) == pytest.approx([100, 0, 0], abs=0.05)


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("scale", SCALES)
def test_any_two_classes_are_told_apart(scale, sight):
    """A difference of 2.3 is just noticeable (Mahy and others, 1994); far more is asked here."""
    colours = seen(scale, sight)
    apart = np.linalg.norm(colours[:, None] - colours, axis=2)
    assert apart[np.triu_indices(5, 1)].min() > 12


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("scale", ["depth", "overthrow"])
def test_more_sand_is_darker_for_everyone(scale, sight):
    lightness = seen(scale, sight)[:, 0]
    assert all(a - b > 5 for a, b in pairwise(lightness))


def test_the_check_would_refuse_red_and_green():
    red, green = (lab(SIGHT["deuteranopia"] @ linear(c)) for c in ("#d7191c", "#1a9641"))
    usual = np.linalg.norm(lab(linear("#d7191c")) - lab(linear("#1a9641")))
    assert np.linalg.norm(red - green) < 0.45 * usual
