"""A good archive to spoil, and the codes of what is then said."""

from dataclasses import replace

from keyturn.radio.archive import Entry, Verdict
from keyturn.shop import rulebook
from keyturn.shop.reasons import Kind

DESC = b"768 1024 30\np 1 2 part0\np 0 0 part1\n"
RADIOS = rulebook.load().radios
TALL = RADIOS["tall-768x1024"]


def frame(name: str, **change: object) -> Entry:
    return replace(Entry(name, False, 768, 1024, bits=8, kind="png"), **change)


def good() -> list[Entry]:
    names = [f"part0/{n:04}.png" for n in range(1, 13)] + ["part1/0001.png"]
    folders = [Entry("part0/", False), Entry("part1/", False)]
    return [Entry("desc.txt", False), *folders, *map(frame, names)]


def codes(verdict: Verdict, kind: Kind | None = None) -> list[str]:
    return [r.code for r in verdict.reasons if kind in (None, r.kind)]
