"""The rules about names of files: which are not an artist's work, and which a stick can hold."""

from __future__ import annotations

from keyturn.shop.rule_table import Sourced


class Names(Sourced):
    """Shell patterns (fnmatch, case folded) of files that are not the artist's work.

    Files like `in_cloud` stand in for files that were never on the sender's disk: waiting for them is in vain.
    """

    junk: tuple[str, ...]
    half_copied: tuple[str, ...]
    in_cloud: tuple[str, ...] = ()


class Fat(Sourced):
    """Which names a FAT file system can hold: characters and names it forbids, longest name in UTF-16 units."""

    forbidden: str
    reserved: tuple[str, ...]
    longest: int
