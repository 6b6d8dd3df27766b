"""What resvg leaves out of a drawing is named, and what it draws is not refused. resvg itself is asked."""

from __future__ import annotations

import io
from xml.etree import ElementTree

import numpy as np
import pytest
import resvg_py
from PIL import Image

from keyturn.normalize.reading.drawing_rules import left_out

NAMES = 'xmlns="http://www.w3.org/2000/svg"'
TWO = '<g><rect class="a" width="20" height="40"/><rect class="a" x="20" width="20" height="40"/></g>'


def drawing(css: str, inside: str = TWO) -> str:
    return f'<svg {NAMES} width="40" height="40" viewBox="0 0 40 40"><style>{css}</style>{inside}</svg>'


def named(svg: str) -> str:
    return " ".join(reason.what for reason in left_out(ElementTree.fromstring(svg)))


def is_red(svg: str) -> bool:
    """Does resvg draw anything red?"""
    pixels = np.asarray(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=svg)))).convert("RGB"))
    return bool((pixels == (255, 0, 0)).all(axis=-1).any())


@pytest.mark.parametrize(
    ("css", "name"),
    [
        ("rect:nth-child(2){fill:red}", ":nth-child"),
        ("rect:last-child{fill:red}", ":last-child"),
        ("rect:not(.b){fill:red}", ":not"),
        (":root{fill:red}", ":root"),
        ("rect::before{fill:red}", ":before"),
        ("@media screen{.a{fill:red}}", "@media"),
        ("@supports (fill:red){.a{fill:red}}", "@supports"),
        ("rect~rect{fill:red}", "~"),
        (".a{fill:var(--c)}", "var()"),
        (".a{fill:oklch(0.6 0.25 29)}", "oklch()"),
    ],
)
def test_rules_that_the_renderer_leaves_out_are_named(css: str, name: str) -> None:
    """By CSS (W3C, Selectors level 3; Values and Units) at least one of these rects is red in a browser, bar `::before`
    and a `var()` that nothing sets; resvg draws none."""
    assert not is_red(drawing(css))
    assert name in named(drawing(css))


@pytest.mark.parametrize(
    "css",
    [".a{fill:red}", "rect:first-child{fill:red}", "g>rect{fill:red}", "rect+rect{fill:red}", "rect[x='20']{fill:red}",
     "*{fill:red!important}", "/* a:hover ~ b */ .a{fill:red}", ".a:hover{fill:blue} .a{fill:red}",
     "@media print{.b{fill:blue}} .a{fill:red}"],
)  # fmt: skip
def test_rules_that_the_renderer_follows_are_none(css: str) -> None:
    assert is_red(drawing(css))
    assert named(drawing(css)) == ""


@pytest.mark.parametrize("how", ['vector-effect="non-scaling-stroke"', 'style="vector-effect: non-scaling-stroke"'])
def test_strokes_that_should_keep_their_width_are_named(how: str) -> None:
    """SVG 2, 8.13: the stroke's width does not depend on the transformation; resvg scales it."""
    line = f'<g transform="scale(10)"><path d="M1 2H3" stroke="red" {how}/></g>'
    drawn = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=drawing("", line)))))
    assert np.count_nonzero(np.asarray(drawn)[..., 3]) > 100
    assert "vector-effect" in named(drawing("", line))
    assert named(drawing("", '<path vector-effect="none" d="M1 1"/>')) == ""
