"""What a drawing (SVG) asks for and resvg leaves out without a word. It is named, so that nothing goes missing unseen.

Which rules resvg follows was found by drawing each kind (tests/normalize/reading/test_drawing_rules.py).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree

from keyturn.shop.reasons import Reason, refuse

SHOWN = 3
"""So many of them are named."""

_DRAWN = ("first-child",)
_OF_A_POINTER = ("hover", "active", "focus", "focus-visible", "focus-within", "visited", "target")
"""Pseudo-classes of a drawing that somebody points at; a still has none."""

_PLAIN_BLOCKS = ("charset", "namespace", "font-face", "import", "page", "keyframes", "-webkit-keyframes")
"""At-rules that change nothing in a still, or are refused for drawing on other files."""

_NOT_ON_A_SCREEN = re.compile(r"@media\s+print\s*", re.IGNORECASE)
_UNSEEN = re.compile(r"/\*.*?\*/|\"[^\"]*\"|'[^']*'|<!--|-->|@(?:charset|namespace|import)\b[^;{]*;", re.DOTALL)
_VALUES = re.compile(r"\b(var|calc|color-mix|light-dark|oklch|oklab|lch|lab|hwb)\(", re.IGNORECASE)
_EFFECT = re.compile(r"vector-effect\s*:\s*non-scaling-stroke", re.IGNORECASE)


def left_out(root: ElementTree.Element) -> list[Reason]:
    """Refuse a drawing with rules that would not be followed, and name them."""
    found = list(dict.fromkeys(rule for element in root.iter() for rule in _of_element(element)))
    if not found:
        return []
    more = f" and {len(found) - SHOWN} more" if len(found) > SHOWN else ""
    what = f"has rules that are not drawn here ({', '.join(found[:SHOWN])}{more}), so that something would be missing"
    return [refuse("drawing-rules", what, "export it as PNG, or as plain SVG without a style sheet")]


def _of_element(element: ElementTree.Element) -> Iterator[str]:
    if not isinstance(element.tag, str):
        return
    if element.tag.rpartition("}")[2] == "style":
        yield from _of_sheet("".join(element.itertext()))
    for key, value in element.attrib.items():
        if key == "vector-effect" and value.strip() == "non-scaling-stroke":
            yield key
        elif key in ("style", "fill", "stroke", "stop-color", "flood-color", "opacity"):
            yield from _of_values(value)


def _of_sheet(text: str) -> Iterator[str]:
    """Yield what a style sheet asks for that is not drawn: at-rules, pseudo-classes, siblings, nested rules, values."""
    plain = _UNSEEN.sub(" ", text)
    for prelude in re.findall(r"([^{};]*)\{", plain):
        rule = prelude.strip()
        if at := re.match(r"@([\w-]+)", rule):
            if at[1].lower() not in _PLAIN_BLOCKS and not _NOT_ON_A_SCREEN.fullmatch(rule):
                yield f"@{at[1]}"
            continue
        yield from (f":{name}" for name in re.findall(r":([\w-]+)", rule) if name.lower() not in _DRAWN + _OF_A_POINTER)
        if "~" in re.sub(r"\[[^\]]*\]", "", rule):
            yield "~"
    yield from _of_values(plain)


def _of_values(text: str) -> Iterator[str]:
    yield from (f"{name}()" for name in _VALUES.findall(text))
    if _EFFECT.search(text):
        yield "vector-effect"
