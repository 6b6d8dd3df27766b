"""`keyturn radios`: list the radios of the rules, or learn one from its stock files."""

from __future__ import annotations

import typer
from rich.console import Console
from rich.table import Column, Table

from keyturn.commands.console import JsonOption, RootOption, out, rules_of
from keyturn.commands.output import plain, write_json
from keyturn.commands.radio_health import bmp_told, filmed_told
from keyturn.commands.radios_learn import learn
from keyturn.shop.rulebook import Rulebook

radios = typer.Typer(
    invoke_without_command=True,
    add_completion=False,
    rich_markup_mode="markdown",
    help="List the radios that the shop knows: panel, player, limits, boot times.",
)


@radios.callback()
def every(context: typer.Context, root: RootOption = None, as_json: JsonOption = False) -> None:
    """List the radios that the shop knows: panel, player, limits, boot times. `keyturn radios learn` adds one."""
    if context.invoked_subcommand is not None:
        return
    rules = rules_of(root)
    if as_json:
        write_json({name: radio.model_dump(mode="json") for name, radio in rules.radios.items()})
    else:
        _print_table(out, rules)


radios.command("learn")(learn)


def _print_table(console: Console, rules: Rulebook) -> None:
    table = Table(Column("radio", no_wrap=True), "panel", "colour", "player", "parts", "fps", "zip", "logo", "boots in")
    for name, radio in sorted(rules.radios.items()):
        boot, limits = radio.boot, radio.limits
        table.add_row(
            plain(name),
            f"{radio.panel.width} x {radio.panel.height}",
            f"{radio.panel.bits} bit",
            f"{radio.player.generation}, {radio.player.pacing}",
            " ".join(radio.player.part_types),
            f"{limits.fps_min}-{limits.fps_max}",
            f"{limits.zip_mib:g} MiB",
            radio.logo.made.upper(),
            f"{boot.shortest:g}-{boot.longest:g} s",
        )
    console.print(table)
    known = rules.radios.values()
    for told in filter(None, (*map(bmp_told, known), *map(filmed_told, known))):
        console.print(plain(told))
