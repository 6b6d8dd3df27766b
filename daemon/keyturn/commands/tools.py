"""Commands about one thing: a bundle, a folder of frames, a stick, a machine."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from keyturn import calibrate as calibration
from keyturn.commands import doctor as doctors
from keyturn.commands import flash_check, output, stick_copy
from keyturn.commands.archive_reader import read_bundle
from keyturn.commands.console import DONE, REFUSED, WRONG_USE, JsonOption, RootOption, err, out, rules_of, shop_of
from keyturn.radio import inspect as inspection
from keyturn.shop import mounts, rulebook
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind, Reason, Refused, ShopFault, only
from keyturn.shop.rulebook import Rulebook


def register(app: typer.Typer) -> None:
    for command in (inspect, flash, copy, calibrate, doctor):
        app.command()(command)


def inspect(
    bundle: Annotated[Path, typer.Argument(help="Any bootanimation.zip.")],
    radio: Annotated[str | None, typer.Option(help="The radio it is meant for.")] = None,
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what a radio would make of a bootanimation.zip: what is shown, what is skipped, and why.

    Example: `keyturn inspect bootanimation.zip --radio tall-768x1024`
    """
    rules = rules_of(root)
    profile = _profile(rules, radio) if radio else None
    if not bundle.is_file():
        raise ShopFault(f"{bundle} is not a file", "name a bootanimation.zip")
    found = read_bundle(bundle, rules.intake.caps)
    verdict = inspection.look(found.entries, found.desc, profile, found.trims)
    if as_json:
        sys.stdout.write(json.dumps(output.verdict_json(verdict), indent=2, ensure_ascii=False) + "\n")
    else:
        output.verdict(out, verdict)
    raise typer.Exit(REFUSED if only(verdict.reasons, Kind.REFUSE) else DONE)


def flash(
    frames: Annotated[Path, typer.Argument(help="A folder of pictures, read in name order.")],
    fps: Annotated[float, typer.Option(help="Frames a second.", min=0.1, max=1000)],
    screen: Annotated[str | None, typer.Option(help="Screen in pixels, as 1024x768.")] = None,
    field_px: Annotated[str | None, typer.Option(help="The 10-degree field in pixels, as 341x256.")] = None,
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check numbered pictures for flashes (WCAG 2.2, 2.3.1). A screening aid, not a medical clearance.

    Example: `keyturn flash ./frames --fps 30 --screen 1024x768 --field-px 341x256`
    """
    rules = rules_of(root).safety.flash
    report = flash_check.check_folder(frames, fps, output.size(screen), output.size(field_px), rules)
    output.flash(out, report, as_json)
    raise typer.Exit(DONE if report.passes else REFUSED)


def copy(
    job: Annotated[str, typer.Argument(help="A job's name (its newest revision), job-r2, or a revision's folder.")],
    target: Annotated[Path | None, typer.Argument(help="Where the stick is mounted.", show_default=False)] = None,
    radio: Annotated[str | None, typer.Option(help="Which radio, where the job is for several.")] = None,
    replace: Annotated[bool, typer.Option(help="Replace files of the same names on the stick.")] = False,
    any_folder: Annotated[bool, typer.Option(help="Copy to a folder that is no stick.")] = False,
    root: RootOption = None,
) -> None:
    """Put a finished job on a stick, read it back and compare.

    Example: `keyturn copy van-two /media/stick --root /srv/keyturn`
    """
    load = stick_copy.find(shop_of(root).outbox, job, radio)
    stick = stick_copy.choose_target(target, mounts.sticks())
    faults = stick_copy.faults(load, stick, rules_of(root).usb.fat, any_folder=any_folder)
    if faults:
        raise ShopFault("; ".join(faults))
    _ask_to_replace(stick_copy.in_the_way(load, stick), replace)
    with output.progress(err, quiet=False) as progress:
        stick_copy.copy(load, stick, lambda done, total: progress("copy and compare", done, total))
    out.print(f"{len(load.radio.files)} files are on {output.plain(str(stick))}, read back and compared.")
    out.print("Eject the stick properly before you pull it out.")


def _ask_to_replace(names: tuple[str, ...], replace: bool) -> None:
    if not names or replace:
        return
    question = f"The stick holds other files called {', '.join(names)}. Replace them?"
    if not err.is_terminal:
        raise ShopFault(f"the stick holds other files called {', '.join(names)}", "say --replace, or use another stick")
    if not typer.confirm(question):
        raise typer.Exit(REFUSED)


def calibrate(
    radio: Annotated[str, typer.Argument(help="The radio; see keyturn radios.")],
    folder: Annotated[
        Path | None,
        typer.Option("--out", help="Where the stick's files go.", show_default="calibration-RADIO"),
    ] = None,
    fps: Annotated[int, typer.Option(help="The stick's frames a second.", min=1, max=60)] = 10,
    seconds: Annotated[
        float | None, typer.Option(help="How long it counts.", show_default="1.5 x the longest boot")
    ] = None,
    readings: Annotated[list[str] | None, typer.Option("--read", help="The last figure of each start.")] = None,
    filmed: Annotated[
        list[str] | None,
        typer.Option("--filmed", help="Seconds of each start, from the first figure to the home screen."),
    ] = None,
    root: RootOption = None,
) -> None:
    """Make a stick that counts, or, with --read, learn from filmed starts into the shop's own rules.

    Example: `keyturn calibrate tall-768x1024`, then
    `keyturn calibrate tall-768x1024 --read 17.9 18.4 --filmed 22.6 23.2 --root /srv/keyturn`
    """
    if filmed and not readings:
        raise ShopFault("--filmed needs --read", "give both, one figure a start")
    if readings:
        _learn(radio, fps, readings, filmed, root)
        return
    rules = rules_of(root)
    target = folder or Path(f"calibration-{radio}")
    profile = _profile(rules, radio)
    with output.progress(err, quiet=False) as progress:
        calibration.make_stick(profile, target, fps=fps, seconds=seconds, rules=rules, progress=progress)
    out.print(f"The stick's files are in {output.plain(str(target))}")
    for line in (*rules.safety.cautions.card, *calibration.steps(profile, fps)):
        out.print(f"- {output.plain(line)}")


def _learn(radio: str, fps: int, readings: list[str], filmed: list[str] | None, root: Path | None) -> None:
    shop = shop_of(root)
    shop.require()
    profile = _profile(rulebook.load(shop.rules), radio)
    film_s = calibration.read(filmed, "--filmed") if filmed else None
    learnt = calibration.learn(profile, fps, calibration.read(readings), film_s)
    stored = calibration.store(shop.rules, profile, learnt, on=datetime.now(UTC).date())
    for line in calibration.describe(learnt):
        out.print(output.plain(line))
    kept = f"{stored.added} added to {stored.kept} kept ({stored.dropped} older let go)"
    out.print(f"{kept} in {output.plain(str(stored.path))}; a running service reads it on SIGHUP")


def _profile(rules: Rulebook, radio: str) -> Radio:
    found = rules.radio(radio)
    if isinstance(found, Reason):
        raise Refused([found])
    return found


def doctor(root: RootOption = None, as_json: JsonOption = False) -> None:
    """Look at this machine and the shop: what is well, what to mind, what is ill, each with its remedy.

    Example: `keyturn doctor --root /srv/keyturn`
    """
    findings = doctors.examine(shop_of(root))
    if as_json:
        found = [{"health": f.health, "what": f.what, "remedy": f.remedy} for f in findings]
        sys.stdout.write(json.dumps(found, indent=2, ensure_ascii=False) + "\n")
    else:
        output.findings(out, findings)
    raise typer.Exit(WRONG_USE if any(f.health is doctors.Health.ILL for f in findings) else DONE)
