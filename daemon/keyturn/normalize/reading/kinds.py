"""Kinds of files by their first bytes, and the endings of their names: the one table of both."""

from __future__ import annotations

import re
import zlib
from pathlib import PurePosixPath

from keyturn.normalize.reading import targa

ENDINGS = {
    "PNG": (".png", ".apng"),
    "JPEG": (".jpg", ".jpeg", ".jpe", ".jfif", ".mpo"),
    "WEBP": (".webp",),
    "BMP": (".bmp", ".dib"),
    "TIFF": (".tif", ".tiff"),
    "GIF": (".gif",),
    "AVIF": (".avif",),
    "HEIC": (".heic", ".heif", ".hif"),
    "SVG": (".svg", ".svgz"),
    "PSD": (".psd", ".psb", ".pdd"),
    "TGA": (".tga", ".targa", ".icb", ".vda", ".vst"),
    "ICO": (".ico",),
    "PPM": (".ppm", ".pgm", ".pbm", ".pnm", ".pam"),
    "JPEG2000": (".jp2", ".j2k", ".j2c", ".jpc", ".jpf", ".jpx"),
    "QOI": (".qoi",),
    "MP4": (".mp4", ".m4v", ".mov", ".qt"),
    "MOV": (".mov", ".qt", ".mp4", ".m4v"),
    "WEBM": (".webm", ".mkv"),
}
"""Kinds that can be read, by the names that intake.toml uses, and how their files may end."""

ART_ENDINGS = frozenset[str]().union(*ENDINGS.values())
"""Endings of files that an artist means as art, whatever is in them."""

FILMS = ("MP4", "MOV", "WEBM")
IN_A_WORKER = (*FILMS, "HEIC", "AVIF", "SVG")
"""Kinds that only large libraries can probe; the service itself never does."""

_MAGIC = (
    ("PNG", rb"\x89PNG\r\n\x1a\n"),
    ("JPEG", rb"\xff\xd8\xff"),
    ("GIF", rb"GIF8[79]a"),
    ("WEBP", rb"RIFF....WEBP"),
    ("TIFF", rb"II\x2a\0|MM\0\x2a|II\x2b\0|MM\0\x2b"),
    ("BMP", rb"BM"),
    ("AVIF", rb"....ftyp(avi[fs]|mif1.{4}(.{4}){0,12}?avif)"),
    ("HEIC", rb"....ftyp(hei[cmsx]|hev[cmsx]|mif1|msf1)"),
    ("MOV", rb"....(ftypqt  |mdat)|\0...(moov|wide|free|skip|pnot)"),
    ("MP4", rb"....ftyp"),
    ("WEBM", rb"\x1a\x45\xdf\xa3"),
    ("a film", rb"RIFF....AVI |FLV\x01|\0\0\x01\xba|\x30\x26\xb2\x75"),
    ("PSD", rb"8BPS"),
    ("PDF", rb"%PDF"),
    ("PostScript", rb"%!PS|\xc5\xd0\xd3\xc6"),
    ("SVG", rb"(\xef\xbb\xbf)?\s*(<\?xml[^>]*>\s*)?(<!--.*?-->\s*)*(<!DOCTYPE svg|<(\w+:)?svg[\s>/])"),
    ("JPEG2000", rb"\0\0\0\x0cjP  |\xff\x4f\xff\x51"),
    ("JPEG XL", rb"\xff\x0a|\0\0\0\x0cJXL "),
    ("a zip", rb"PK\x03\x04"),
    ("a packed file (gzip)", rb"\x1f\x8b"),
    ("QOI", rb"qoif"),
    ("PPM", rb"P[1-6](\s|#[^\r\n]*[\r\n])+\d|P7\n(#|WIDTH|HEIGHT|DEPTH|MAXVAL|TUPLTYPE)"),
    ("ICO", rb"\0\0\x01\0[\x01-\xff]\0"),
    ("TGA", targa.HEADER),  # the last: it has no first bytes of its own
)


def of(start: bytes) -> str:
    """Return the kind that a file's first bytes (512 are plenty) show; empty where they show none."""
    kind = next((kind for kind, magic in _MAGIC if re.match(magic, start, re.DOTALL)), "")
    return "SVG" if kind.startswith("a packed") and of(_unpacked(start)) == "SVG" else kind


def _unpacked(start: bytes) -> bytes:
    """Return the first bytes of what is packed with gzip; empty where it is garbled."""
    try:
        return zlib.decompressobj(zlib.MAX_WBITS | 16).decompress(start, len(start))
    except zlib.error:
        return b""


_BITMAP = rb"BM.{12}[\x0c\x10\x28\x34\x38\x40\x6c\x7c]\0\0\0"
"""A bitmap with one of its known headers: a letter may begin with BM."""


def told(name: str, start: bytes) -> str:
    """Return the kind as `of`, for a file that need not be a picture; `name` backs what its bytes leave in doubt."""
    kind = of(start)
    named = PurePosixPath(name).suffix.lower() in ENDINGS.get(kind, ())
    return "" if kind == "BMP" and not named and not re.match(_BITMAP, start, re.DOTALL) else kind
