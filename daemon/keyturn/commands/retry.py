"""`keyturn retry`: put a refused drop back in the inbox."""

from __future__ import annotations

from typing import Annotated

import typer

from keyturn.commands import output
from keyturn.commands.console import RootOption, out, shop_of
from keyturn.inbox.moving import free_name, move
from keyturn.shop.wrong_use import WrongUse


def retry(name: Annotated[str, typer.Argument(help="A folder in rejects.")], root: RootOption = None) -> None:
    """Put a refused drop back in the inbox, as if you had dragged it there.

    Example: `keyturn retry ferry-steps --root /srv/keyturn`
    """
    shop = shop_of(root)
    shop.require()
    source = shop.rejects / name
    if "/" in name or name.startswith(".") or not source.is_dir():
        there = ", ".join(sorted(p.name for p in shop.rejects.iterdir() if p.is_dir())) or "nothing"
        raise WrongUse(f'there is no "{name}" in rejects', f"rejects holds: {there}")
    target = free_name(shop.inbox, name)
    move(source, target)
    out.print(f"{output.plain(name)} is back in the inbox as {output.plain(target.name)}")
