"""`keyturn check`: all that the shop would say about a drop."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import make_by_hand
from keyturn.commands.console import DONE, REFUSED, JsonOption, RootOption, out
from keyturn.commands.make import all_reasons, bench_of, print_made
from keyturn.shop.reasons import Reason, Refused


def check(
    drop: Annotated[Path, typer.Argument(help="A drop: a folder, or a zip of one.")],
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say all that the shop would say about a drop; keep nothing.

    Example: `keyturn check ./van-two`
    """
    reasons: tuple[Reason, ...] = ()
    code = DONE
    try:
        with bench_of(root, quiet=as_json) as bench:
            result = make_by_hand.check(drop, bench)
        reasons = all_reasons(result.made.record)
    except Refused as refused:
        if not as_json:
            raise
        reasons, code = refused.reasons, REFUSED
    if as_json:
        found = [r.model_dump(mode="json") for r in reasons]
        sys.stdout.write(json.dumps({"ok": code == DONE, "reasons": found}, indent=2, ensure_ascii=False) + "\n")
        raise typer.Exit(code)
    print_made(out, result)
