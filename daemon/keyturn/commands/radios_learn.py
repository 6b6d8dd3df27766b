"""`keyturn radios learn`: write a draft of a radio's profile from the files that the radio came with."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from keyturn.commands.console import RootOption, out, shop_of
from keyturn.commands.output import plain
from keyturn.shop.reasons import Reason
from keyturn.shop.wrong_use import WrongUse

if TYPE_CHECKING:  # the list of radios does not wait for what learning one imports
    from keyturn.calibrate.stock_facts import StockFacts
    from keyturn.calibrate.stock_logo import StockLogo


def learn(
    stock: Annotated[Path, typer.Argument(help="The stock bootanimation.zip, as it came from the radio.")],
    name: Annotated[str, typer.Option(help="What the new radio is to be called, such as dash-1024x600.")],
    logo: Annotated[Path | None, typer.Option(help="The stock logo.")] = None,
    root: RootOption = None,
) -> None:
    """Learn a radio from its stock animation: write a draft of its profile into the shop's rules.

    What the files do not show is guessed from the nearest radio, and never taken for more than they show. Each line of
    the draft says which. Nothing is overwritten.

    Example: `keyturn radios learn stock.zip --logo stock-logo.bmp --name dash-1024x600 --root /srv/keyturn`
    """
    from keyturn.calibrate.draft_profile import draft, free_path, write_draft
    from keyturn.calibrate.stock_facts import facts_of
    from keyturn.calibrate.stock_logo import read_logo
    from keyturn.commands.archive_reader import read_bundle
    from keyturn.commands.inspect import print_verdict, verdict_on
    from keyturn.shop import durable_files, rulebook

    shop = shop_of(root)
    shop.require()
    rules = rulebook.load(shop.rules)
    path = free_path(shop.rules, name, rules.radios)
    if not stock.is_file():
        raise WrongUse(f"{stock} is not a file", "name the stock bootanimation.zip")
    found = read_bundle(stock, rules.intake.caps)
    size = stock.stat().st_size
    facts = facts_of(found.entries, found.desc, found.trims, zip_bytes=size, bytes_before=found.bytes_before)
    stock_logo = read_logo(logo, rules.intake.caps.file_mib) if logo else None
    which = f"{stock.name} (SHA-256 begins {durable_files.sha256(stock.resolve())[:12]})"
    made = draft(name, facts, stock_logo, rules.radios, which, datetime.now(UTC).date())
    write_draft(made, path, rules.usb.fat)
    rules = rulebook.load(shop.rules)
    out.print(f"A draft of {name} is in {plain(str(path))}")
    for line in (*_seen(facts, stock_logo), f"guessed from the radio {made.like}: the rest; each line says which"):
        out.print(f"  {plain(line)}")
    _print_oddities(facts.oddities)
    out.print("What only a stick can settle:")
    for line in made.open_questions:
        out.print(f"  - {plain(line)}")
    slow = f" --fps {facts.fps}" if facts.fps < 10 else ""
    out.print(f"  keyturn calibrate {name}{slow} --root {plain(str(shop.root))}")
    out.print(f"What {name} makes of the stock animation (keyturn inspect):")
    print_verdict(out, verdict_on(found, rules, rules.radios[name]))
    out.print("A running service takes the radio up on SIGHUP: systemctl reload keyturn")


def _seen(facts: StockFacts, logo: StockLogo | None) -> Iterator[str]:
    width, height = facts.size
    yield f"seen: {width} x {height}, {facts.fps} fps, rows of type {' '.join(facts.types)}"
    looks = [("8-bit palette", facts.palette), ("interlaced", facts.interlaced), ("16 bits a channel", facts.deep)]
    kinds = [*map(str.upper, facts.formats), *(word for word, seen in looks if seen)]
    more = [word for word, seen in (("cropped by trim.txt", facts.trim), ("row colours", facts.row_colour)) if seen]
    yield f"seen: frames {', '.join([*kinds, *more])}; a zip of {facts.zip_bytes / 2**20:.2f} MiB"
    if logo:
        kind = f"BMP, {logo.bmp.bits} bit, {'top-down' if logo.bmp.top_down else 'bottom-up'}" if logo.bmp else ""
        yield f"seen: a logo of {kind or logo.format.upper()}, {logo.file_bytes:,} bytes"


def _print_oddities(oddities: tuple[Reason, ...]) -> None:
    if oddities:
        out.print("No published player shows the stock animation as it stands:")
    for reason in oddities[:8]:
        out.print(f"  - {plain(reason.line())}")
