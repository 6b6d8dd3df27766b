"""`keyturn new`: write a starter drop."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import output, starter
from keyturn.commands.console import RootOption, out, rules_of
from keyturn.shop.reasons import Reason, Refused


def new(
    folder: Annotated[Path, typer.Argument(help="A new folder.")],
    radio: Annotated[str, typer.Option(help="The radio it is for; see keyturn radios.")] = "tall-768x1024",
    kind: Annotated[
        str, typer.Option(help=f"How its frames are made: {', '.join(starter.KINDS)}.", show_default=True)
    ] = "frames",
    root: RootOption = None,
) -> None:
    """Write a starter drop: pictures, and a manifest that explains itself.

    Examples: `keyturn new ./my-first-drop --radio wide-1024x600`, `keyturn new ./leaf --kind glide`
    """
    profile = rules_of(root).radio(radio)
    if isinstance(profile, Reason):
        raise Refused([profile])
    starter.write(folder, profile, kind)
    out.print(f"A starter drop is in {output.plain(str(folder))}. Change it, then:")
    out.print(f"  keyturn check {output.plain(str(folder))}")
