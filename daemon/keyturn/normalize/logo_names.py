"""Which names mean a boot logo. Pure: no disk."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from pathlib import PurePosixPath

from keyturn.normalize.scale_marks import unscaled

RUN = 3
"""So many names that differ in their digits alone are frames: logo_0001.png to logo_0048.png show a moving logo."""

_WORD = re.compile(r"(?<![^\W\d_])(?:boot|start|splash)?logo(?![^\W\d_])")
_CAPITAL = re.compile(r"(?<=[a-z])(?=[A-Z])")


def is_logo(name: str) -> bool:
    """Whether the file is called `logo`, or `logo@2x`, and lies loose in the drop."""
    return "/" not in name and PurePosixPath(unscaled(name)).stem.lower() == "logo"


def says_logo(text: str) -> bool:
    """Whether `text` holds the word logo: "boot logo", "logo_final", "VanLogo", but not "catalogo"."""
    return bool(_WORD.search(_CAPITAL.sub(" ", text).lower()))


def may_be_logos(names: Iterable[str]) -> list[str]:
    """Return the names that hold the word logo, and those alone in a folder that does. Rows of frames are left out."""
    every = list(names)
    rows = Counter(map(_without_digits, every))
    folders = Counter(name.rpartition("/")[0] for name in every)
    return [
        name
        for name in every
        if (says_logo(PurePosixPath(name).stem) and rows[_without_digits(name)] < RUN)
        or (folders[folder := name.rpartition("/")[0]] == 1 and says_logo(PurePosixPath(folder).name))
    ]


def _without_digits(name: str) -> str:
    return re.sub(r"\d+", "#", name.lower())
