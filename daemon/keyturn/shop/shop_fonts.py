"""The fonts that words may be set in, beside those of a drop: the shop's own, and Keyturn's typeface."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from keyturn.shop.natural_order import natural_key

ENDINGS = (".ttf", ".otf", ".woff2", ".woff")
"""How files of fonts end."""


@dataclass(frozen=True, slots=True)
class ShopFonts:
    """The fonts in the shop's `folder`, where it has any."""

    folder: Path | None = None

    def files(self) -> tuple[Path, ...]:
        """Return the shop's fonts in the order of their names. Raise OSError where the folder may not be read."""
        try:
            found: Iterable[Path] = self.folder.iterdir() if self.folder else ()
            fonts = [path for path in found if path.suffix.lower() in ENDINGS and not path.name.startswith(".")]
        except (FileNotFoundError, NotADirectoryError):
            return ()
        return tuple(sorted((path for path in fonts if path.is_file()), key=lambda path: natural_key(path.name)))


NO_FONTS = ShopFonts()


@cache
def own_typeface() -> Path:
    """Return the file of Noto Sans, for Latin, Greek and Cyrillic: the typeface of words without a font of their own.

    It comes from the package fontpkg-noto-sans, under the SIL Open Font License 1.1.
    """
    import fontpkg_noto_sans  # type: ignore[import-untyped]

    path: Path = fontpkg_noto_sans.ROOT / "files" / "NotoSans[wdth,wght].ttf"
    return path
