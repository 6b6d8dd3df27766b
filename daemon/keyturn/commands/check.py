"""`keyturn check`: say all that the shop would say about a drop."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import make_by_hand, output
from keyturn.commands.console import REFUSED, JsonOption, RootOption, err, out
from keyturn.commands.make import all_reasons, bench_of, print_made
from keyturn.commands.make_by_hand import MadeByHand
from keyturn.commands.output import write_json
from keyturn.pipeline import Bench
from keyturn.pipeline.stock import StockDrop
from keyturn.shop import durable_files
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.wrong_use import WrongUse


def check(
    drop: Annotated[Path, typer.Argument(help="A drop: a folder, or a zip of one.")],
    show: Annotated[bool, typer.Option("--show", help="Write a page with player and findings, and name it.")] = False,
    to: Annotated[Path | None, typer.Option("--out", help="The page's file; <drop>-look.html by default.")] = None,
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say all that the shop would say about a drop. With --show, write a page that shows it.

    Example: `keyturn check ./van-two --show`
    """
    page = _page_of(drop, to) if show or to else None
    try:
        with bench_of(root, quiet=as_json) as bench:
            if (stock := make_by_hand.stock_in(drop, bench)) is not None:
                _tell_stock(stock, as_json)
                return
            result = _shown(drop, bench, page) if page else make_by_hand.check(drop, bench)
    except Refused as refused:
        if not as_json:
            raise
        _write_reasons(refused.reasons, ok=False)
        raise typer.Exit(REFUSED) from refused
    if result.refused is not None and as_json:
        _write_reasons(result.refused.reasons, ok=False)
        raise typer.Exit(REFUSED)
    if as_json:
        every = (result, *result.others)
        _write_reasons(dict.fromkeys(r for each in every for r in all_reasons(each.made.record)), ok=True)
        return
    print_made(out, result)
    if result.refused is not None:
        raise result.refused


def _tell_stock(stock: StockDrop, as_json: bool) -> None:
    """Say that the shop would keep the stock files, and where."""
    if as_json:
        _write_reasons(stock.reasons, ok=True)
        return
    whose = f"{stock.manifest.customer}'s {stock.radio.name}"
    files = ", ".join(f"{name} as {path}" for path, name in stock.files.by_path.items())
    out.print(output.plain(f"Stock files of {whose}: {files}. The shop keeps them in outbox/{stock.target}"))
    output.reasons(out, stock.reasons)


def _page_of(drop: Path, named: Path | None) -> Path:
    """Return the page's file. Raise `WrongUse` where it would not be a page, or would lie in the drop itself."""
    page = output.page_file(named or Path(f"{make_by_hand.drop_name(drop)}-look.html"))
    if page.is_relative_to(drop.resolve()):
        raise WrongUse(f"{page} would lie in the drop", "name a file outside of it with --out")
    return page


def _shown(drop: Path, bench: Bench, page: Path) -> MadeByHand:
    """Write the page and say where it is. Raise `Refused` after it where the drop would be refused."""
    look = make_by_hand.look(drop, bench)
    durable_files.write_atomic(page, look.page.encode("utf-8"))
    err.print(f"The page: {output.plain(page.as_uri())}", soft_wrap=True)
    if isinstance(look.outcome, Refused):
        raise look.outcome
    return look.outcome


def _write_reasons(reasons: Iterable[Reason], *, ok: bool) -> None:
    write_json({"ok": ok, "reasons": [reason.model_dump(mode="json") for reason in reasons]})
