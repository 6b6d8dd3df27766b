"""`keyturn inspect`: say what a radio would show of a bootanimation.zip."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from keyturn.commands.archive_reader import Bundle, read_bundle
from keyturn.commands.console import DONE, REFUSED, JsonOption, RootOption, out, profile_of, rules_of
from keyturn.commands.output import plain, reasons, write_json
from keyturn.radio import inspect as inspection
from keyturn.radio.archive import Verdict
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind, only
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.wrong_use import WrongUse


def inspect(
    bundle: Annotated[Path, typer.Argument(help="Any bootanimation.zip.")],
    radio: Annotated[str | None, typer.Option(help="The radio it is meant for.")] = None,
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what a radio would show of a bootanimation.zip, what it would skip, and why.

    Example: `keyturn inspect bootanimation.zip --radio tall-768x1024`
    """
    rules = rules_of(root)
    profile = profile_of(rules, radio) if radio else None
    if not bundle.is_file():
        raise WrongUse(f"{bundle} is not a file", "name a bootanimation.zip")
    verdict = verdict_on(read_bundle(bundle, rules.intake.caps), rules, profile)
    if as_json:
        write_json(_as_json(verdict))
    else:
        print_verdict(out, verdict)
    raise typer.Exit(REFUSED if only(verdict.reasons, Kind.REFUSE) else DONE)


def verdict_on(found: Bundle, rules: Rulebook, profile: Radio | None) -> Verdict:
    """Return what a radio makes of the archive; without a profile, what the published players do."""
    camera_s = rules.safety.holding.camera_seconds
    return inspection.look(
        found.entries, found.desc, profile, found.trims, bytes_before=found.bytes_before, camera_s=camera_s
    )


def print_verdict(console: Console, found: Verdict) -> None:
    """Print the parts that a radio would show, in their order, then the reasons why others are not shown."""
    if found.desc is None:
        console.print("[bold red]nothing is shown[/]")
    else:
        console.print(f"{found.desc.width} x {found.desc.height}, {found.desc.fps} fps")
        for number, part in enumerate(found.parts, 1):
            row = part.row
            plays = "until booted" if row.count == 0 else f"{row.count} times" if row.count > 1 else "once"
            pause = f", pause {row.pause}" if row.pause else ""
            name = f"part {number} ({plain(row.path)})"
            console.print(f"  {name}: {len(part.frames)} frames, {plays}{pause} (type {row.type})")
    reasons(console, found.reasons)


def _holding(found: Verdict) -> dict[str, object]:
    for_ever = math.isinf(found.delay_s)
    return {"lets_go": not for_ever, "delay_s": None if for_ever else round(found.delay_s, 3)}


def _as_json(found: Verdict) -> dict[str, object]:
    desc = found.desc
    return {
        "shown": found.shown,
        **_holding(found),
        "width": desc.width if desc else None,
        "height": desc.height if desc else None,
        "fps": desc.fps if desc else None,
        "parts": [{**asdict(part.row), "frames": list(part.frames)} for part in found.parts],
        "generations": {
            generation: {"shown": view.shown, **_holding(view), "frames": [len(part.frames) for part in view.parts]}
            for generation, view in found.by_generation.items()
        },
        "reasons": [r.model_dump(mode="json") for r in found.reasons],
    }
