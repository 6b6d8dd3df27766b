"""Where a command finds its shop, and what it says where there is none."""

from __future__ import annotations

from pathlib import Path

from keyturn.commands.unit_root import UNIT, UNIT_FOLDERS, unit_root
from keyturn.shop.folders import Shop
from keyturn.shop.wrong_use import WrongUse

GROUP = "ask as a member of the shop's group, or as root"


def named_shop(root: Path) -> Shop:
    """Return the shop in the folder `root`, which somebody named.

    A shop may lack some of its folders: whoever needs them says so. Raise `WrongUse` where it has none at all.
    """
    shop = Shop(root.resolve())
    if _is_closed(shop.root):
        raise WrongUse(f"{shop.root} is closed to you", GROUP)
    if not shop.root.is_dir():
        raise WrongUse(f"{shop.root} is not a folder", _way_out(shop.root))
    if not any(folder.is_dir() for folder in (*_marks(shop), shop.rules)):
        raise WrongUse(f"{shop.root} is not a shop: it has no inbox, outbox and rejects", _way_out(shop.root))
    return shop


def found_shop() -> Shop:
    """Return the shop around the current folder, or else the installed service's. Raise `WrongUse` without one."""
    shop = any_shop()
    if shop is not None:
        return shop
    here = Path().resolve()
    of_the_unit = unit_root(UNIT_FOLDERS)
    if of_the_unit is None:
        what = f"no shop was found: {here} and the folders above it have no inbox, outbox and rejects"
        raise WrongUse(what, "name the shop's folder with --root or KEYTURN_ROOT; keyturn init FOLDER makes a new one")
    if _is_closed(of_the_unit):
        raise WrongUse(f"the shop of the installed service, {of_the_unit}, is closed to you", GROUP)
    what = f"{UNIT} names {of_the_unit}, and no shop is there"
    raise WrongUse(what, "mount or restore it, or name the shop's folder with --root or KEYTURN_ROOT")


def any_shop() -> Shop | None:
    """Return the shop around the current folder, or else the installed service's; None without one that is open."""
    here = Path().resolve()
    for folder in (here, *here.parents):
        if is_shop(folder):
            return Shop(folder)
    of_the_unit = unit_root(UNIT_FOLDERS)
    return Shop(of_the_unit.resolve()) if of_the_unit is not None and is_shop(of_the_unit) else None


def is_shop(folder: Path) -> bool:
    """Tell whether the folder holds inbox, outbox and rejects, as far as one may look."""
    try:
        return all(place.is_dir() for place in _marks(Shop(folder)))
    except PermissionError:
        return False


def _marks(shop: Shop) -> tuple[Path, ...]:
    return shop.inbox, shop.outbox, shop.rejects


def _is_closed(root: Path) -> bool:
    try:
        any(folder.is_dir() for folder in _marks(Shop(root)))
    except PermissionError:
        return True
    return False


def _way_out(root: Path) -> str:
    """Say what helps where `root` is no shop: `init` would only make a second one where there is one already."""
    other = any_shop()
    if other is not None:
        return f"the shop is {other.root}: say --root {other.root}, or leave it out"
    if unit_root(UNIT_FOLDERS) is not None:
        return f"{UNIT} names {unit_root(UNIT_FOLDERS)}: is that the shop?"
    return f"name the shop's folder; for a new shop, run: keyturn init {root}"
