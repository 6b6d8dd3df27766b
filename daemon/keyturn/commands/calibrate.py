"""`keyturn calibrate`: make a stick that counts, or learn from filmed starts."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from keyturn import calibrate as calibration
from keyturn.commands import output
from keyturn.commands.console import RootOption, err, out, profile_of, rules_of, shop_of
from keyturn.outbox import revision_life
from keyturn.shop import rulebook
from keyturn.shop.radio_profile import FEWEST_TOLD
from keyturn.shop.wrong_use import WrongUse


def calibrate(
    radio: Annotated[str, typer.Argument(help="The radio; see keyturn radios.")],
    folder: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="Where the stick's files go; with --film, the page's file.",
            show_default="calibration-RADIO, or calibration-RADIO.html",
        ),
    ] = None,
    fps: Annotated[int, typer.Option(help="The stick's frames a second.", min=1, max=60)] = 10,
    seconds: Annotated[
        float | None, typer.Option(help="How long the stick counts.", show_default="1.5 x the longest boot")
    ] = None,
    by_eye: Annotated[
        bool, typer.Option("--by-eye", help="Make a stick whose figures a person reads: plain frames alone.")
    ] = False,
    films: Annotated[list[Path] | None, typer.Option("--film", help="Films of starts with the stick.")] = None,
    readings: Annotated[list[str] | None, typer.Option("--read", help="The last figure of each start.")] = None,
    filmed: Annotated[
        list[str] | None,
        typer.Option("--filmed", help="Seconds of each start, from the first figure to the home screen."),
    ] = None,
    fitted: Annotated[
        bool, typer.Option("--fitted", help="Take over the boots that fitters told with keyturn fitted --boot.")
    ] = False,
    root: RootOption = None,
) -> None:
    """Make a stick that counts. With --film, put what films of starts show into the shop's own rules.

    Example: `keyturn calibrate tall-768x1024`, then
    `keyturn calibrate tall-768x1024 --film start1.mp4 start2.mp4 --root /srv/keyturn`

    Without a camera that sees the whole screen: make the stick with --by-eye, read its last figures, and tell them with
    `keyturn calibrate tall-768x1024 --read 17.9 18.4 --filmed 22.6 23.2 --root /srv/keyturn`
    """
    if films and (readings or filmed or fitted):
        raise WrongUse("--film goes without --read, --filmed and --fitted", "call the command once for each")
    if films:
        from keyturn.commands.film_calibration import learn_films

        learn_films(radio, films, folder, root)
        return
    if filmed and not readings:
        raise WrongUse("--filmed needs --read", "give both, one figure a start")
    if fitted:
        _take_over(radio, root)
        return
    if readings:
        _learn(radio, fps, readings, filmed, root)
        return
    rules = rules_of(root)
    target = folder or Path(f"calibration-{radio}")
    profile = profile_of(rules, radio)
    with output.progress(err, quiet=False) as progress:
        calibration.make_stick(profile, target, fps=fps, seconds=seconds, by_eye=by_eye, rules=rules, progress=progress)
    out.print(f"The stick's files are in {output.plain(str(target))}")
    for line in (*rules.safety.cautions.card, *calibration.steps(profile, fps, by_eye=by_eye)):
        out.print(f"- {output.plain(line)}")


def _learn(radio: str, fps: int, readings: list[str], filmed: list[str] | None, root: Path | None) -> None:
    shop = shop_of(root)
    shop.require()
    profile = profile_of(rulebook.load(shop.rules), radio)
    film_s = calibration.read(filmed, "--filmed") if filmed else None
    learnt = calibration.learn(profile, fps, calibration.read(readings), film_s)
    stored = calibration.store(shop.rules, profile, learnt, on=datetime.now(UTC).date())
    for line in calibration.describe(learnt):
        out.print(output.plain(line))
    kept = f"{stored.added} added to {stored.kept} kept ({stored.dropped} older removed)"
    out.print(f"{kept} in {output.plain(str(stored.path))}; a running service reads it on SIGHUP")


def _take_over(radio: str, root: Path | None) -> None:
    """Write the boots that fitters told into the shop's rules. Somebody who may change the rules asks for it: whoever
    can put a file into the inbox can tell a boot."""
    shop = shop_of(root)
    shop.require()
    profile = profile_of(rulebook.load(shop.rules), radio)
    told = revision_life.boots_told(shop.outbox, radio)
    if not told:
        raise WrongUse(f"no fitter has told a boot of {radio}", "say it with: keyturn fitted JOB --boot SECONDS")
    path = calibration.store_told(shop.rules, profile, told, on=datetime.now(UTC).date())
    out.print(
        f"{radio}: {len(told)} boots by the watch, {min(told):g} to {max(told):g} s, in {output.plain(str(path))}"
    )
    count = len(told) + len(profile.boot.samples)
    if count < FEWEST_TOLD:
        out.print(f"They count in plans from {FEWEST_TOLD} starts on, those on film included. There are {count}.")
    out.print("A running service reads it on SIGHUP.")
