"""CIELAB against colour-science and scikit-image."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
from skimage.color import rgb2lab

from keyturn.eye import cielab, luminance

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour

COLOURS = np.array(list(itertools.product(range(0, 256, 17), repeat=3)), np.uint8)


def test_lab_is_that_of_two_reference_libraries() -> None:
    ours = cielab.lab(COLOURS)
    # scikit-image: rgb2lab, D65, 2 degrees; colour-science: CIE 1976 L*a*b* from sRGB
    assert np.abs(ours - rgb2lab(COLOURS[None])[0]).max() < 0.05
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    reference = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(COLOURS / 255), d65)
    assert np.abs(ours - reference).max() < 0.05


def test_codes_and_their_linear_light_are_the_same_colour() -> None:
    assert np.array_equal(cielab.lab(COLOURS), cielab.lab_of(luminance.linear(COLOURS)))
