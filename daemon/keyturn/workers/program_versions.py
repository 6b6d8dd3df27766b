"""The versions of all that decides the bytes of a frame, to compare those of two machines or of two days."""

from __future__ import annotations

import hashlib
import platform
import re
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import metadata
from pathlib import Path

import keyturn

FAST = ("zlib-ng", "kornia-rs", "cykooz.resizer")
PICTURES = ("numpy", "pillow", "av", "pillow-heif", "resvg-py", "pyvips", "pyvips-binary", *FAST)
WORDS = ("fonttools", "brotli", "uniseg", "fontpkg-noto-sans")
LIBRARIES = (*PICTURES, *WORDS)
CODECS = ("zlib", "jpg", "webp", "littlecms2", "libtiff", "avif", "jpg_2000", "freetype2")
SHAPING = ("raqm", "harfbuzz", "fribidi")

FOLDERS = ("eye", "flatten", "inbox", "judge", "manifest", "normalize", "package", "png", "radio", "renumber", "shop")
"""The folders of the package with all code and data that workers' results depend on."""


@cache
def versions() -> Mapping[str, str]:
    """Return the versions that decide the bytes of a frame, and whether a job can be unpickled."""
    from PIL import features

    python = ".".join(platform.python_version_tuple()[:2])
    codecs = {f"Pillow's {name}": str(features.version(name)) for name in (*CODECS, *SHAPING)}
    return {"Python": python, "keyturn": keyturn.__version__} | {n: _version(n) for n in LIBRARIES} | codecs


def _version(distribution: str) -> str:
    """Return the version of an installed package, "none" where it is not installed.

    `metadata.version` parses the whole of its README too: of all these packages in 10 ms. Source: core metadata
    specifications, "Version", a field of one line; the first empty line ends the fields.
    """
    try:
        fields = (metadata.distribution(distribution).read_text("METADATA") or "").partition("\n\n")[0]
    except metadata.PackageNotFoundError:
        return "none"
    found = re.search(r"^Version:[ \t]*(\S+)", fields, re.MULTILINE)
    return found[1] if found else metadata.version(distribution)


@cache
def code_digest() -> bytes:
    """Return a digest of the program as it lies on disk, and of the versions of its libraries.

    Ask for it when a process starts: the code that runs is then that on disk.
    """
    return _digest(f"{platform.machine()}\0{sorted(versions().items())}\0", FOLDERS)


@cache
def program() -> Mapping[str, str]:
    """Return what must be the same on every machine of a cluster: the versions, and the code that workers run."""
    return {**versions(), "Keyturn's own code": _digest("", (*FOLDERS, "workers")).hex()[:12]}


def _digest(begun: str, folders: Iterable[str]) -> bytes:
    total = hashlib.blake2b(begun.encode(), digest_size=32)
    package = Path(keyturn.__file__).parent
    for folder in folders:
        for path in sorted((package / folder).rglob("*")):
            if path.is_file() and path.parent.name != "__pycache__":
                data = path.read_bytes()
                total.update(f"{path.relative_to(package)}\0{len(data)}\0".encode())
                total.update(data)
    return total.digest()
