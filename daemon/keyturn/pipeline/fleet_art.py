"""The pictures that each row of a fleet may use: all of the drop, but for those that other rows name for themselves."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from keyturn.inbox.survey import Survey
from keyturn.manifest.models import Manifest
from keyturn.renumber.extra_pictures import extra_pictures
from keyturn.renumber.parts import LookedInto
from keyturn.shop.folding import composed


@dataclass(frozen=True, slots=True)
class FleetArt:
    """The files of a fleet, without its table, and what was read of them. `named` are the pictures that rows name."""

    found: Survey
    looked_into: LookedInto
    named: frozenset[str]

    @classmethod
    def of(cls, found: Survey, looked_into: LookedInto, manifests: Iterable[Manifest]) -> FleetArt:
        return cls(found, looked_into, frozenset(name for manifest in manifests for name in _named(manifest)))

    def for_row(self, manifest: Manifest) -> tuple[Survey, LookedInto]:
        """Return the files that a row's job is made from, and what was read of them.

        The logo of another row is no frame of this one, nor is what another row draws with, unless it has a number as
        frames have.
        """
        others = self.named.difference(_named(manifest))
        if not others:
            return self.found, self.looked_into
        left = frozenset(name for name in self.found.files if _folded(name) in others)
        files = tuple(name for name in self.found.files if name not in left)
        known = replace(self.looked_into.files, art=self.looked_into.files.art - left)
        return replace(self.found, files=files), replace(self.looked_into, files=known)


def _named(manifest: Manifest) -> set[str]:
    """Return the logo and the pictures that are drawn with, as they are compared."""
    drawn_with = (name for part in manifest.part for name in extra_pictures(part))
    logos = [manifest.logo.art] if manifest.logo.art else []
    return {_folded(name) for name in (*logos, *filter(_has_no_number, drawn_with))}


def _has_no_number(name: str) -> bool:
    return not any(letter.isdigit() for letter in PurePosixPath(name).stem)


def _folded(name: str) -> str:
    return composed(name).lower()
