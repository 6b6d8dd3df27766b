"""`keyturn check`: say all that the shop would say about a drop."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import make_by_hand
from keyturn.commands.console import REFUSED, JsonOption, RootOption, out
from keyturn.commands.make import all_reasons, bench_of, print_made
from keyturn.commands.output import write_json
from keyturn.shop.reasons import Reason, Refused


def check(
    drop: Annotated[Path, typer.Argument(help="A drop: a folder, or a zip of one.")],
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say all that the shop would say about a drop, and keep nothing.

    Example: `keyturn check ./van-two`
    """
    try:
        with bench_of(root, quiet=as_json) as bench:
            result = make_by_hand.check(drop, bench)
    except Refused as refused:
        if not as_json:
            raise
        _write_reasons(refused.reasons, ok=False)
        raise typer.Exit(REFUSED) from refused
    if as_json:
        _write_reasons(all_reasons(result.made.record), ok=True)
    else:
        print_made(out, result)


def _write_reasons(reasons: Iterable[Reason], *, ok: bool) -> None:
    write_json({"ok": ok, "reasons": [reason.model_dump(mode="json") for reason in reasons]})
