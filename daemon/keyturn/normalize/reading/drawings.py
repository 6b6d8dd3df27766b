"""Drawings (SVG) through resvg, drawn at the size that is needed.

resvg opens the files that a drawing names. So a drawing is parsed here first and written anew without such links,
and while resvg draws, the process can open no file and no connection. Words set in type are refused: they would look
different on each machine, and a word whose typeface is missing is left out without a warning.
Sources: SVG 1.1 (W3C), 7.2 and 7.10 (size and units), 17.1 (links).
"""

from __future__ import annotations

import io
import math
import re
import resource
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import BinaryIO
from xml.etree import ElementTree

from PIL import Image

from keyturn.normalize.reading import drawing_rules, picture_faults
from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture, Size
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.rulebook import Intake

MPX = 16
"""Megapixels that a drawing counts as: enough for the largest panel, so that no drawing is too small."""

MOST_BYTES = 32 * 2**20
_PX = {"": 1.0, "px": 1.0, "pt": 4 / 3, "pc": 16.0, "mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96.0}
_INSIDE = re.compile(r"\s*(#|data:image/(png|jpe?g|gif|webp)[;,]|$)", re.IGNORECASE)
_TYPE = ("text", "flowRoot", "foreignObject")
_OUTSIDE_CSS = re.compile(r"@import|@font-face|url\(\s*['\"]?\s*(?!#|['\")])", re.IGNORECASE)


def opened(file: BinaryIO, kind: str, intake: Intake) -> LibraryPicture:
    """Parse the drawing; it is drawn when its pixels are asked for.

    Raise `Refused` where it uses type or other files or has no size, and what garbage makes the parser raise.
    """
    try:
        import resvg_py  # noqa: F401 - is it there?
    except ImportError:
        instead = "PNG, twice as large as the panel"
        raise picture_faults.not_installed("a drawing (SVG)", "drawings", instead) from None
    root = _parsed(file)
    _remove_links(root)
    if reasons := [*_uses_other_files(root), *_uses_type(root), *drawing_rules.left_out(root)]:
        raise Refused(reasons)
    wide, high = _size(root)
    scale = math.sqrt(MPX * 1e6 / (wide * high))
    size = max(1, round(wide * scale)), max(1, round(high * scale))
    return LibraryPicture(kind, size, "RGBA", lambda wanted: drawn(at_size(root, wanted), wanted), scalable=True)


def drawn(svg: str, size: Size) -> Image.Image:
    """Draw `svg`, which must be of `size`, as RGBA. Raise `Broken` where resvg cannot draw it."""
    import resvg_py

    try:
        with _nothing_opened():
            png = resvg_py.svg_to_bytes(svg_string=svg, skip_system_fonts=True, dpi=96.0)
    except ValueError as error:
        raise Broken("cannot be drawn") from error
    image = Image.open(io.BytesIO(bytes(png)), formats=["PNG"])
    if image.size != size:
        raise Broken("cannot be drawn at its size")
    return image.convert("RGBA")


@contextmanager
def _nothing_opened() -> Iterator[None]:
    """Make every open() and socket() of this process fail in the block (setrlimit(2), RLIMIT_NOFILE)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (0, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def _parsed(file: BinaryIO) -> ElementTree.Element:
    """Return the root element. expat opens no external entity, and stops where internal ones multiply."""
    file.seek(0)
    data = file.read(MOST_BYTES + 1)
    if data.startswith(b"\x1f\x8b"):  # SVGZ
        data = zlib.decompressobj(zlib.MAX_WBITS | 16).decompress(data, MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        what = f"is a drawing of more than {MOST_BYTES >> 20} MiB"
        raise Refused([refuse("drawing-heavy", what, "export it as PNG")])
    root = ElementTree.fromstring(data)
    if _plain(root.tag) != "svg":
        raise Broken("begins as a drawing and is none")
    return root


def _plain(tag: object) -> str:
    """Return the tag without its namespace; empty for comments and processing instructions."""
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def _remove_links(root: ElementTree.Element) -> None:
    """Remove base addresses and links to click on: they draw nothing."""
    for element in root.iter():
        for key in list(element.attrib):
            if _plain(key) == "base" or (_plain(key) == "href" and _plain(element.tag) == "a"):
                del element.attrib[key]


def _uses_other_files(root: ElementTree.Element) -> Iterator[Reason]:
    if outside := next((found for element in root.iter() for found in _outside(element)), ""):
        what = f"draws on what is not in the file ({outside.strip()[:60]})"
        yield refuse("drawing-outside", what, "embed the picture as PNG or JPEG, or export it all as PNG")


def _outside(element: ElementTree.Element) -> Iterator[str]:
    """Yield what the element draws from outside the file."""
    for key, value in element.attrib.items():
        if (_plain(key) == "href" and not _INSIDE.match(value)) or _OUTSIDE_CSS.search(value):
            yield value
    if _plain(element.tag) == "style" and _OUTSIDE_CSS.search("".join(element.itertext())):
        yield "its style sheet"


def _uses_type(root: ElementTree.Element) -> Iterator[Reason]:
    words = [" ".join("".join(e.itertext()).split()) for e in root.iter() if _plain(e.tag) in _TYPE]
    if shown := next((text for text in words if text), ""):
        what = f'has words set in type ("{shown[:40]}"), whose typeface is not in the file'
        yield refuse("drawing-type", what, "turn the words into outlines (paths), or export it as PNG")


def _size(root: ElementTree.Element) -> tuple[float, float]:
    """Return width and height in CSS pixels, or those of the view box where one of them is missing."""
    wide, high = (_length(root.get(key)) for key in ("width", "height"))
    box = _view_box(root)
    if wide and high:
        return wide, high
    if box is None:
        what = "is a drawing without a size"
        raise Refused([refuse("drawing-size", what, "give it a viewBox, or width and height")])
    return box


def _length(text: str | None) -> float | None:
    """Return a length in CSS pixels; None where it is missing, a share of the page, or nonsense."""
    found = re.fullmatch(r"\s*\+?([0-9.]+(?:e[+-]?\d+)?)\s*([a-z]*)\s*", text or "", re.IGNORECASE)
    if found is None or found[2].lower() not in _PX:
        return None
    return _positive(found[1], _PX[found[2].lower()])


def _view_box(root: ElementTree.Element) -> tuple[float, float] | None:
    numbers = re.split(r"[\s,]+", root.get("viewBox", "").strip())
    if len(numbers) != 4:
        return None
    wide, high = _positive(numbers[2]), _positive(numbers[3])
    return (wide, high) if wide and high else None


def _positive(text: str, scale: float = 1.0) -> float | None:
    try:
        value = float(text) * scale
    except ValueError:
        return None
    return value if 1e-6 < value < 1e9 else None


def at_size(root: ElementTree.Element, size: Size) -> str:
    """Return the drawing written anew, with `size` as its width and height.

    Where the view box has the shape of the drawing, the drawing is stretched to fill `size`. In whole pixels the two
    shapes differ a little, and without the stretch two edges would get a half-clear line.
    """
    box, wide, high = _view_box(root), _length(root.get("width")), _length(root.get("height"))
    changes = {"width": str(size[0]), "height": str(size[1])}
    if box is None:
        changes["viewBox"] = f"0 0 {wide:.9g} {high:.9g}"
    if not (box and wide and high) or math.isclose(wide * box[1], high * box[0], rel_tol=1e-3):
        changes["preserveAspectRatio"] = "none"
    top = ElementTree.Element(root.tag, {**root.attrib, **changes})
    top.extend(list(root))
    return ElementTree.tostring(top, encoding="unicode")
