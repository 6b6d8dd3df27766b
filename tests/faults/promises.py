"""The promises of DEVELOPERS.md, asked of a shop's folders from outside: nothing here moves a drop."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from keyturn.shop.folders import Shop

NOTICES = {"REJECTED.html", "REJECTED.txt", "REJECTED.json"}
HALF_WRITTEN = ".keyturn"
"""Begins the names of files that the service had not finished when it was killed."""
Contents = dict[str, str]
"""SHA-256 of a drop's files by relative name."""


def contents(folder: Path) -> Contents:
    """Of a folder without our notices, or of a single file under its own name."""
    if folder.is_file():
        return {folder.name: _sha256(folder)}
    files = (p for p in folder.rglob("*") if p.is_file() and not p.is_symlink())
    return {p.relative_to(folder).as_posix(): _sha256(p) for p in files if p.name not in NOTICES}


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@dataclass(frozen=True)
class Laid:
    """A drop that was laid in the inbox and where it must end: `ready` or `refused`, `entered` as a slip, or `kept`
    as stock files.

    `late` are names that may be missing or present: the artist adds them while the drop is on its way. Of a fleet
    `rows` become revisions, and with `rest` the faulty ones lie in rejects, with all but the table as it came.
    """

    name: str
    was: Contents
    end: str
    late: frozenset[str] = frozenset()
    rows: int = 1
    rest: bool = False


@dataclass
class Asked:
    """What a check found. `count` is how many promises were asked for."""

    broken: list[str] = field(default_factory=list)
    count: int = 0

    def that(self, true: bool, else_say: str) -> None:
        self.count += 1
        if not true:
            self.broken.append(else_say)


def at_any_instant(shop: Shop, drops: list[Laid], asked: Asked) -> None:
    """Promises 1 (at least one folder) and 2 (complete names), whatever was cut off a moment ago."""
    for drop in drops:
        whole = [place for place in places(shop) if _holds(place, drop)]
        asked.that(bool(whole), f"{drop.name} is in no folder")
    _complete(shop, drops, asked)


def nothing_waits(shop: Shop, asked: Asked) -> None:
    """Promise 7: after a fault that has gone a running service ends what was begun, without a new start."""
    for folder in (shop.inbox, shop.work):
        left = sorted(p.name for p in folder.iterdir())
        asked.that(not left, f"the service forgot in {folder.name}: {left}")


def after_recovery(shop: Shop, drops: list[Laid], asked: Asked) -> None:
    """All promises, once the shop is quiet again."""
    _complete(shop, drops, asked)
    for drop in drops:
        _ended_once(shop, drop, asked)
    for folder in (shop.work, shop.inbox, shop.building):
        left = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []
        asked.that(not left, f"left in {folder.relative_to(shop.root)}: {left}")
    litter = [str(p.relative_to(shop.root)) for p in shop.root.rglob(f"{HALF_WRITTEN}*")]
    asked.that(not litter, f"litter: {litter}")
    _ledger_agrees(shop, asked)
    for revision in revisions(shop):
        job, number = revision.name.rsplit("-r", 1)
        noted = (shop.state / "numbers" / revision.parent.name).glob(f"{job}-r*")
        highest = max((int(path.name.rsplit("-r", 1)[1]) for path in noted), default=0)
        asked.that(highest >= int(number), f"the number of {revision.name} may be used again")
    for customer in {p.parent for p in revisions(shop)}:
        asked.that(_whole_page(customer / "proof.html"), f"no sheet for {customer.name}")
    asked.that(_whole_page(shop.board), "no board")


def _ended_once(shop: Shop, drop: Laid, asked: Asked) -> None:
    held = _holds if drop.end == "kept" else _holds_any  # the same stock files may come twice
    holding = [place for place in places(shop) if held(place, drop)]
    if drop.rest:
        refused = [place for place in holding if place.is_relative_to(shop.rejects)]
        asked.that(len(refused) == 1, f"the faulty rows of {drop.name} lie in {len(refused)} folders")
        holding = [place for place in holding if place not in refused]
    where = [str(p.relative_to(shop.root)) for p in holding]
    asked.that(len(holding) == 1, f"{drop.name} lies in {where or 'no folder'}")
    if len(holding) != 1:
        return
    there = contents(holding[0])
    same = {n: s for n, s in there.items() if n not in drop.late} == drop.was
    asked.that(same, f"{drop.name} is not as it came: {sorted(there)}")
    wanted = shop.rejects if drop.end == "refused" else shop.archive
    asked.that(holding[0].is_relative_to(wanted), f"{drop.name}: to be {drop.end}, lies in {where[0]}")
    if drop.end == "kept":
        _kept_once(shop, drop, holding[0], asked)
    if drop.end == "entered":
        _entered_once(shop, drop, holding[0], asked)
    if drop.end == "ready":
        made = [p for p in revisions(shop) if _record(p).get("drop") == drop.name]
        asked.that(len(made) == drop.rows, f"{drop.name} was published {len(made)} times, not {drop.rows}")
        jobs = {(_record(p)["customer"], _record(p)["job"]) for p in made}
        asked.that(len(jobs) == drop.rows, f"of {drop.name} there are {len(jobs)} jobs, not {drop.rows}")
        claimed = holding[0].name in {f"{p.name}--{_record(p)['claim']}" for p in made}
        asked.that(claimed, f"{drop.name}: its archive {where[0]} does not belong to its revision")


def _kept_once(shop: Shop, drop: Laid, kept: Path, asked: Asked) -> None:
    """Its files lie in one folder of stock files, under whose name it is archived."""
    folder = shop.outbox / kept.parent.name / kept.name.partition("--")[0]
    asked.that(folder in restores(shop), f"{drop.name}: no stock files lie in {folder.name}")
    there = set(contents(folder / "usb").values()) if folder.is_dir() else set()
    came = {sha for name, sha in drop.was.items() if name != "job.toml"}
    asked.that(there == came, f"{drop.name}: what is kept is not what came")


def _entered_once(shop: Shop, drop: Laid, kept: Path, asked: Asked) -> None:
    """Its slip stands beside the revision under which its file is archived, once, and on the customer's sheet."""
    revision = shop.outbox / kept.parent.name / kept.name.partition("--")[0]
    file = revision / "answer.json"
    entered = json.loads(file.read_bytes())["slips"] if file.is_file() else []
    asked.that(len(entered) == 1, f"{drop.name} was entered {len(entered)} times")
    sheet = revision.parent / "proof.html"
    asked.that(sheet.is_file() and b"said yes on" in sheet.read_bytes(), f"{drop.name} is not on the sheet")


def _holds(place: Path, drop: Laid) -> bool:
    there = contents(place)
    if place.is_file():  # under way it may have another name
        return set(there.values()) == set(drop.was.values())
    return all(there.get(name) == sha for name, sha in drop.was.items())


def _holds_but_for_the_table(place: Path, drop: Laid) -> bool:
    there = {name: sha for name, sha in contents(place).items() if not Path(name).name.startswith(HALF_WRITTEN)}
    return set(there) == set(drop.was) and all(there[n] == sha for n, sha in drop.was.items() if n != "fleet.csv")


def _holds_any(place: Path, drop: Laid) -> bool:
    return bool(set(contents(place).values()) & set(drop.was.values()))


def places(shop: Shop) -> Iterator[Path]:
    """Wherever a drop may lie by the table in DEVELOPERS.md; half a copy between two mounts counts too."""
    yield from _sorted(shop.inbox, "*")
    yield from _sorted(shop.work, "*/drop")
    yield from _sorted(shop.rejects, "*")
    yield from (p for p in _sorted(shop.archive, "*/*") if p.is_dir())


def _sorted(folder: Path, pattern: str) -> list[Path]:
    return sorted(folder.glob(pattern))


def revisions(shop: Shop) -> list[Path]:
    customers = [p for p in shop.outbox.iterdir() if p.is_dir() and p != shop.building]
    return sorted(p for c in customers for p in c.iterdir() if p.is_dir() and not p.name.startswith((".", "restore-")))


def restores(shop: Shop) -> list[Path]:
    return sorted(p for p in shop.outbox.glob("[!.]*/restore-*") if p.is_dir())


def _record(revision: Path) -> dict[str, str]:
    record: dict[str, str] = json.loads((revision / "job.json").read_bytes())
    return record


def published(shop: Shop) -> Contents:
    """The bytes of everything published: what is out must never change again. A hidden file is half written."""
    return {
        p.relative_to(shop.outbox).as_posix(): _sha256(p)
        for r in [*revisions(shop), *restores(shop)]
        for p in r.rglob("*")
        if p.is_file() and not p.name.startswith(".")
    }


def _complete(shop: Shop, drops: list[Laid], asked: Asked) -> None:
    """Promise 2: what has a name in outbox or rejects is whole."""
    for revision in revisions(shop):
        asked.that(_whole_revision(revision), f"outbox/{revision.parent.name}/{revision.name} is not whole")
    for restore in restores(shop):
        asked.that(_whole_restore(restore), f"outbox/{restore.parent.name}/{restore.name} is not whole")
    for folder in shop.rejects.iterdir():
        if folder.name.startswith("."):
            continue
        whole = all((folder / n).is_file() for n in NOTICES) and any(
            _holds(folder, d) or (d.rest and _holds_but_for_the_table(folder, d)) for d in drops
        )
        asked.that(whole, f"rejects/{folder.name} is not whole")
    for page in [*shop.outbox.glob("*.html"), *shop.outbox.glob("*/proof.html")]:
        asked.that(_whole_page(page), f"{page.name} is half written")


def _whole_revision(revision: Path) -> bool:
    if not all((revision / n).is_file() for n in ("job.json", "proof.json", "player.json", "card.html", "proof.html")):
        return False
    listed = {
        f"{radio['folder']}/{file['path']}": file["sha256"]
        for radio in json.loads((revision / "job.json").read_bytes())["radios"]
        for file in radio["files"]
    }
    there = {p.relative_to(revision).as_posix(): _sha256(p) for p in revision.glob("usb*/**/*") if p.is_file()}
    return bool(listed) and there == listed


def _whole_restore(folder: Path) -> bool:
    if not all((folder / n).is_file() for n in ("restore.json", "SHA256SUMS", "INSTALL.txt")):
        return False
    lines = (folder / "SHA256SUMS").read_text(encoding="utf-8").splitlines()
    listed = {path: sha for sha, path in (line.split("  ") for line in lines)}
    there = {p.relative_to(folder).as_posix(): _sha256(p) for p in folder.glob("usb/**/*") if p.is_file()}
    return bool(listed) and there == listed


def _whole_page(page: Path) -> bool:
    return page.is_file() and page.read_bytes().rstrip().endswith(b"</html>")


def ledger(shop: Shop) -> tuple[set[str], set[str]]:
    """The paths the ledger knows, read with SQLite itself."""
    with closing(sqlite3.connect(shop.state / "ledger.sqlite3")) as db:
        ready = {path for (path,) in db.execute("SELECT path FROM ready")}
        refused = {path for (path,) in db.execute("SELECT path FROM refused")}
    return ready, refused


def _ledger_agrees(shop: Shop, asked: Asked) -> None:
    there = {p.relative_to(shop.outbox).as_posix() for p in revisions(shop)}
    refused = {f"rejects/{p.name}" for p in shop.rejects.iterdir() if not p.name.startswith(".")}
    known = ledger(shop)
    asked.that(known == (there, refused), f"the ledger knows {known}, there is {(there, refused)}")
