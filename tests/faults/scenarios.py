"""Shops with drops laid in them, small enough that a whole run costs a fraction of a second."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
import subprocess
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from faults.promises import Laid, contents, revisions
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from samples import picture

SETTINGS = """scan_seconds = 0.2
workers = 1
retry_aside_minutes = 0.001
watch = "polling"
[settle]
seconds = 0.1
without_manifest_seconds = 0.3
doubt_seconds = []
"""


def shop_in(root: Path) -> Shop:
    """A shop with the radio "tiny" of tests/conftest.py and no patience."""
    shop = Shop(root)
    shop.create()
    text = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
    text = text.replace("width = 768", "width = 48").replace("height = 1024", "height = 64")
    (shop.rules / "radios").mkdir(exist_ok=True)
    (shop.rules / "radios" / "tiny.toml").write_text(text, encoding="utf-8")
    (shop.root / "keyturn.toml").write_text(SETTINGS, encoding="utf-8")
    return shop


def draw(folder: Path, first: int, frames: int = 3) -> Path:
    """A good drop; pictures from number `first` on, so that no two drops share a file."""
    (folder / "lamps").mkdir(parents=True)
    for number in range(first, first + frames):
        picture((48, 64), number).save(folder / "lamps" / f"{number:04d}.png")
    (folder / "job.toml").write_text(f'customer = "Fern Hollow"\nradio = "tiny"\nartist = "Ines {first}"\n')
    return folder


def lay_good(shop: Shop) -> Laid:
    folder = draw(shop.inbox / "van", 1)
    return Laid("van", contents(folder), "ready")


def lay_bad(shop: Shop) -> Laid:
    folder = draw(shop.inbox / "bad", 5, 2)
    (folder / "lamps" / "0006.png").write_bytes(b"broken")
    return Laid("bad", contents(folder), "refused")


def lay_zip(shop: Shop) -> Laid:
    folder, pack = draw(shop.root / "drawn", 9, 1), shop.inbox / "cart.zip"
    with zipfile.ZipFile(pack, "w") as archive:
        for path in sorted(folder.rglob("*.*")):
            archive.writestr(zipfile.ZipInfo(path.relative_to(folder).as_posix()), path.read_bytes())
    shutil.rmtree(folder)
    return Laid("cart.zip", contents(pack), "ready")


def drops(shop: Shop) -> list[Laid]:
    return [lay_bad(shop), lay_zip(shop), lay_good(shop)]


def same_job(shop: Shop) -> list[Laid]:
    """Two drops of one job: its revisions 1 and 2."""
    laid = []
    for name, first in (("van", 1), ("van-again", 9)):
        folder = draw(shop.inbox / name, first)
        (folder / "job.toml").write_text(f'customer = "Fern Hollow"\njob = "van"\nradio = "tiny"\nartist = "{name}"\n')
        laid.append(Laid(name, contents(folder), "ready"))
    return laid


def one_good(shop: Shop) -> list[Laid]:
    return [lay_good(shop)]


def good_and_bad(shop: Shop) -> list[Laid]:
    return [lay_bad(shop), lay_good(shop)]


def mended(shop: Shop) -> list[Laid]:
    """A drop that was refused once, mended in rejects and dragged back with our notices in it."""
    folder = draw(shop.inbox / "van", 1)
    for name in ("REJECTED.html", "REJECTED.txt", "REJECTED.json"):
        (folder / name).write_text("of an earlier day")
    return [Laid("van", contents(folder), "ready")]


def changed(shop: Shop) -> list[Laid]:
    """Goes back to the inbox once: see zygote.py."""
    laid = lay_good(shop)
    return [Laid(laid.name, laid.was, laid.end, frozenset({"late.txt"}))]


def doubtful(shop: Shop) -> list[Laid]:
    """One of the drops has an empty picture, as a copy in progress has: it goes back to the inbox twice."""
    settings = shop.root / "keyturn.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace("doubt_seconds = []", "doubt_seconds = [3, 6]"))
    folder = draw(shop.inbox / "bad", 5, 2)
    (folder / "lamps" / "0006.png").write_bytes(b"")
    return [Laid("bad", contents(folder), "refused"), lay_good(shop)]


def fleet(shop: Shop) -> list[Laid]:
    """One drop with forty rows."""
    return [_fleet(shop, 40)]


def fleet_with_rest(shop: Shop) -> list[Laid]:
    """Three right rows, a faulty one that is refused alone, and another drop."""
    return [_fleet(shop, 3, "each_good = true\n", "Fern;van-four;no-such-radio\n"), lay_good(shop)]


def _fleet(shop: Shop, rows: int, more: str = "", faulty: str = "") -> Laid:
    folder = draw(shop.inbox / "vans", 30, 1)
    (folder / "job.toml").write_text(f'each = "fleet.csv"\n{more}')
    table = "".join(f"Fern {row % 3};van-{row};tiny\n" for row in range(rows))
    (folder / "fleet.csv").write_text(f"customer;job;radio\n{table}{faulty}")
    return Laid("vans", contents(folder), "ready", rows=rows, rest=bool(faulty))


def answers(shop: Shop) -> list[Laid]:
    """A customer's yes to a revision that is out, a spoilt one, and a drop."""
    folder = draw(shop.inbox / "bus", 20, 1)
    van = Laid("bus", contents(folder), "ready")
    _make(shop)
    (revision,) = revisions(shop)
    yes, spoilt = shop.inbox / "answer-bus-r1.txt", shop.inbox / "answer.eml"
    line = slip_line(revision)
    yes.write_text(f"Yes, make it so.\n{line}\n")
    spoilt.write_text(f"Subject: yes\n\n{line[:90]}\n")
    return [
        van,
        Laid(yes.name, contents(yes), "entered"),
        Laid(spoilt.name, contents(spoilt), "refused"),
        lay_good(shop),
    ]


def stock(shop: Shop) -> list[Laid]:
    """Stock files that are kept, the same ones again, others, which are refused, another radio's, and a drop."""
    before = lay_stock(shop, "stock", 30, "kept")
    _make(shop)
    again, other = lay_stock(shop, "again", 30, "kept"), lay_stock(shop, "other", 32, "refused")
    return [before, again, other, lay_stock(shop, "fresh", 34, "kept", radio="wide-1024x600"), lay_good(shop)]


def lay_stock(shop: Shop, name: str, first: int, end: str, radio: str = "tiny") -> Laid:
    """A drop of stock files, with pictures from number `first` on."""
    folder, frame = shop.inbox / name, shop.root / "frame.png"
    folder.mkdir()
    text = f'customer = "Fern Hollow"\nradio = "{radio}"\nstock = true\nartist = "{name}"\n'
    (folder / "job.toml").write_text(text)
    picture((48, 64), first).save(folder / "logo.png")
    picture((48, 64), first + 1).save(frame)
    with zipfile.ZipFile(folder / "bootanimation.zip", "w") as archive:
        archive.writestr(zipfile.ZipInfo("desc.txt"), "48 64 10\np 0 0 part0\n")
        archive.writestr(zipfile.ZipInfo("part0/0001.png"), frame.read_bytes())
    frame.unlink()
    return Laid(name, contents(folder), end)


def slip_line(revision: Path) -> str:
    """A yes to the revision, as the customer's sheet writes it; made here without the package's own code."""
    job = json.loads((revision / "job.json").read_bytes())
    slip = {
        "kind": "answer",
        "id": "0123456789abcdef",
        "customer": job["customer"],
        "job": job["job"],
        "revision": job["revision"],
        "path": f"{revision.parent.name}/{revision.name}",
        "digest": hashlib.sha256((revision / "job.json").read_bytes()).hexdigest(),
        "at": "2026-03-01T09:30:00.000Z",
        "by": "Marta Lindqvist",
        "answer": "yes",
    }
    packed = base64.urlsafe_b64encode(json.dumps(slip).encode()).decode().rstrip("=")
    return f"[keyturn-slip:{packed}]"


def _make(shop: Shop) -> None:
    """Run the service over the shop until it is quiet, in a process of its own: see zygote.py."""
    from faults import zygote  # it imports this module

    pid = os.fork()
    if pid == 0:
        order = {"root": str(shop.root), "now": "2026-03-01T08:00:00+00:00", "seed": 99}
        zygote.log_to(os.devnull)
        os._exit(zygote.serve(order, zygote.clock_of(order)))
    assert os.waitpid(pid, 0)[1] == 0


@dataclass(frozen=True)
class Scenario:
    """`mounts` names the shop's folders that are file systems of their own (root only)."""

    lay: Callable[[Shop], list[Laid]]
    order: dict[str, Any] = field(default_factory=dict)
    mounts: tuple[str, ...] = ()


SCENARIOS = {
    "drops": Scenario(drops),
    "mended": Scenario(mended),
    "changed": Scenario(changed, {"changed": True}),
    "doubtful": Scenario(doubtful),
    "answers": Scenario(answers),
    "fleet-rest": Scenario(fleet_with_rest),
    "stock": Scenario(stock),
    "beside": Scenario(drops, {"beside": True}),
    "beside-same": Scenario(same_job, {"beside": True}),
    "answers-apart": Scenario(answers, mounts=("inbox", "archive", "rejects")),
    "inbox-apart": Scenario(drops, mounts=("inbox",)),
    "beside-apart": Scenario(drops, {"beside": True}, ("inbox", "outbox", "archive", "rejects")),
    "all-apart": Scenario(good_and_bad, mounts=("inbox", "outbox", "archive", "rejects")),
    "fleet-apart": Scenario(fleet_with_rest, mounts=("inbox", "outbox", "archive", "rejects")),
    "changed-apart": Scenario(changed, {"changed": True}, ("inbox",)),
    "fleet": Scenario(fleet),
}
"""The dearest last: with `--lines` a campaign tries of each scenario what those before it have not."""


@contextmanager
def laid(root: Path, scenario: Scenario) -> Iterator[tuple[Shop, list[Laid]]]:
    """A fresh shop in `root`, which is removed afterwards."""
    with mounted(root, *scenario.mounts):
        shop = shop_in(root)
        yield shop, scenario.lay(shop)


@contextmanager
def mounted(root: Path, *names: str, options: str = "size=32m") -> Iterator[None]:
    """Folders of `root` as small file systems in memory; raises OSError where mounting is not allowed."""
    done: list[Path] = []
    try:
        for name in names:
            mount(root / name, options)
            done.append(root / name)
        yield
    finally:
        for place in reversed(done):
            subprocess.run(["umount", "-l", place], check=True)
        shutil.rmtree(root)


def mount(place: Path, options: str) -> None:
    place.mkdir(parents=True, exist_ok=True)
    command = ["mount", "-t", "tmpfs", "-o", options, "keyturn-test", place]
    said = subprocess.run(command, capture_output=True, text=True)
    if said.returncode:
        raise OSError(f"mounting is not allowed here: {said.stderr.strip()}")


class Away:
    """A folder that is taken away and given back; a mount is moved (mount(8)), any other folder renamed.

    With `empty` an empty folder is left in its place, as where a share was unmounted. What somebody puts into that
    is hidden when the share comes back.
    """

    def __init__(self, folder: Path, away: Path, *, empty: bool) -> None:
        self._folder, self._away, self._empty = folder, away, empty
        self._mounted = folder.is_mount()

    def take_away(self) -> None:
        if self._mounted:
            self._away.mkdir(exist_ok=True)
            subprocess.run(["mount", "--move", self._folder, self._away], check=True)
        else:
            self._folder.rename(self._away)
        if self._empty != self._folder.exists():
            self._folder.mkdir() if self._empty else self._folder.rmdir()

    def give_back(self) -> None:
        if self._mounted:
            self._folder.mkdir(exist_ok=True)
            subprocess.run(["mount", "--move", self._away, self._folder], check=True)
        else:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._away.rename(self._folder)
