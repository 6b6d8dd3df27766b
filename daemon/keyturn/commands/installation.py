"""What `keyturn service install` and `remove` do, step by step, on this machine or below another root."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from urllib.parse import unquote, urlsplit

from keyturn.commands.install_steps import RemovePath, RunProgram, Step, WriteFile
from keyturn.commands.unit_root import UNIT, unit_root
from keyturn.shop.wrong_use import WrongUse

FILES = Path(__file__).parents[1] / "systemd"
PROGRAM = Path("/opt/keyturn")
SHOP = Path("/srv/keyturn")
"""Where the files that ship expect the program's environment and the shop."""

UNITS, SYSUSERS, TMPFILES = (Path(f"/etc/{place}") for place in ("systemd/system", "sysusers.d", "tmpfiles.d"))
_PLAIN = re.compile(r"(/[\w.-]+)+")
_DROP_IN = re.compile(r"keyturn-(\w+)\.conf")


@dataclass(frozen=True, slots=True)
class Place:
    """Where it goes: below `root`, which is / for this machine itself. `shop` is the shop's folder there."""

    root: Path = Path("/")
    shop: Path = SHOP

    def __post_init__(self) -> None:
        if not _PLAIN.fullmatch(str(self.shop)):
            raise WrongUse(
                f"{self.shop} cannot stand in a unit", "name a folder from / on, of letters, digits and . _ -"
            )

    def at(self, path: Path) -> Path:
        return self.root / path.relative_to("/")

    @property
    def is_this_machine(self) -> bool:
        return self.root == Path("/")


def place_of(root: Path, shop: Path | None) -> Place:
    """Return the place below `root`; without `shop`, its shop is the one of the unit that is there, if any."""
    installed = unit_root([root / UNITS.relative_to("/")])
    return Place(root, shop or installed or SHOP)


def drop_ins() -> tuple[str, ...]:
    """Return the names of the drop-ins that ship."""
    return tuple(sorted(found[1] for path in FILES.iterdir() if (found := _DROP_IN.fullmatch(path.name))))


def install_steps(place: Place, wanted: tuple[str, ...] = ()) -> Iterator[Step]:
    """Yield the steps that install the service, with the drop-ins `wanted`.

    A drop-in that is there already was given this machine's addresses, so it stays. Raise `WrongUse` for one that does
    not ship.
    """
    for name in wanted:
        if name not in drop_ins():
            raise WrongUse(f'there is no drop-in "{name}"', f"there are: {', '.join(drop_ins())}")
    below = () if place.is_this_machine else (f"--root={place.root}",)
    if place.is_this_machine:
        yield from _program()
    yield WriteFile(place.at(SYSUSERS / "keyturn.conf"), _text("keyturn.sysusers", place))
    yield RunProgram(("systemd-sysusers", *below, "keyturn.conf"))
    yield WriteFile(place.at(TMPFILES / "keyturn.conf"), _text("keyturn.tmpfiles", place))
    yield RunProgram(("systemd-tmpfiles", *below, "--create", "keyturn.conf"))
    yield WriteFile(place.at(place.shop / "keyturn.toml"), _text("keyturn.toml", place), keep=True)
    yield WriteFile(place.at(UNITS / UNIT), _text(UNIT, place))
    for name in wanted:
        path = place.at(UNITS / f"{UNIT}.d" / f"{name}.conf")
        yield WriteFile(path, _text(f"keyturn-{name}.conf", place), keep=True)
    if place.is_this_machine:
        yield RunProgram(("systemctl", "daemon-reload"))
    yield RunProgram(("systemctl", *below, "enable", UNIT))
    if place.is_this_machine:
        yield RunProgram(("systemctl", "restart", UNIT))
        yield RunProgram((str(PROGRAM / "bin" / "keyturn"), "doctor", "--root", str(place.shop)), may_fail=True)


def remove_steps(place: Place) -> Iterator[Step]:
    """Yield the steps that undo it. The shop's folders stay, and the user whose they are."""
    if place.at(UNITS / UNIT).exists():
        now = ("--now",) if place.is_this_machine else (f"--root={place.root}",)
        yield RunProgram(("systemctl", "disable", *now, UNIT))
    own = [UNITS / f"{UNIT}.d" / f"{name}.conf" for name in drop_ins()]
    for path in (UNITS / UNIT, *own, TMPFILES / "keyturn.conf", SYSUSERS / "keyturn.conf"):
        if place.at(path).exists():
            yield RemovePath(place.at(path))
    yield RemovePath(place.at(UNITS / f"{UNIT}.d"), if_empty=True)
    if place.is_this_machine:
        yield RunProgram(("systemctl", "daemon-reload"))
    if (place.at(PROGRAM) / "pyvenv.cfg").is_file() and (place.at(PROGRAM) / "bin" / "keyturn").exists():
        yield RemovePath(place.at(PROGRAM))  # last: this program may run from it


def _text(name: str, place: Place) -> str:
    return (FILES / name).read_text(encoding="utf-8").replace(str(SHOP), str(place.shop))


def _program() -> Iterator[Step]:
    """Yield the steps that put the program where the unit expects it; none where it runs from there."""
    if Path(sys.prefix) == PROGRAM:
        return
    yield RunProgram(("python3", "-m", "venv", str(PROGRAM)))
    yield RunProgram((str(PROGRAM / "bin" / "pip"), "install", "--quiet", str(_source())))


def _source() -> Path:
    """Return the checkout that this program was installed from.

    pip notes it in direct_url.json (PEP 610). Raise `WrongUse` where it did not come from one.
    """
    try:
        noted = json.loads(distribution("keyturn").read_text("direct_url.json") or "{}")
    except (PackageNotFoundError, ValueError):
        noted = {}
    url = urlsplit(str(noted.get("url", "")))
    folder = Path(unquote(url.path))
    if url.scheme != "file" or not (folder / "pyproject.toml").is_file():
        mend = f"make an environment in {PROGRAM}, install Keyturn there, and run {PROGRAM}/bin/keyturn service install"
        raise WrongUse("where this program was installed from is not there any more", mend)
    return folder
