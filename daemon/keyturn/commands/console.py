"""What the commands share: exit codes, consoles, options, the shop and its rules."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from keyturn.commands import shop_search
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Reason, Refused

if TYPE_CHECKING:  # some commands read no rules: these modules are not imported for them
    from keyturn.shop.radio_profile import Radio
    from keyturn.shop.rulebook import Rulebook

DONE, REFUSED, WRONG_USE, OUR_BUG, NOT_JUDGED, INTERRUPTED = 0, 1, 2, 3, 4, 130

RootOption = Annotated[
    Path | None,
    typer.Option(
        "--root",
        envvar="KEYTURN_ROOT",
        help="The shop's folder.",
        readable=False,  # else the program's own words for a shop that is closed are not reached
        show_default="the shop around this folder, or else the installed service's",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]

out = Console(highlight=False, soft_wrap=True, emoji=False)
err = Console(stderr=True, highlight=False, soft_wrap=True, emoji=False)


def shop_of(root: Path | None) -> Shop:
    """Return the shop in `root`, or the one that is found without. Raise `WrongUse` where there is none."""
    return shop_search.named_shop(root) if root else shop_search.found_shop()


def shop_if_any(root: Path | None) -> Shop | None:
    """Return the shop in `root`, or the one that is found without, if any. Raise `WrongUse` where `root` is none."""
    return shop_search.named_shop(root) if root else shop_search.any_shop()


def rules_of(root: Path | None) -> Rulebook:
    """Return the rules of the shop in `root` or found without; the rules that ship where there is no shop."""
    from keyturn.shop import rulebook

    shop = shop_if_any(root)
    return rulebook.load(shop.rules if shop else None)


def profile_of(rules: Rulebook, radio: str) -> Radio:
    """Return the radio of that name. Raise `Refused`, naming the nearest, where there is none."""
    found = rules.radio(radio)
    if isinstance(found, Reason):
        raise Refused([found])
    return found
