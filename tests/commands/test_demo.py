"""The sample inbox goes through the real service: the acceptance test of the whole program."""

from __future__ import annotations

import io
import json
import re
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.console import Console

from keyturn.commands import demo
from keyturn.commands.demo import DemoOutcome
from keyturn.shop.folders import Shop
from keyturn.shop.records import JobRecord
from samples import Run


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> DemoOutcome:
    return demo.run_samples(tmp_path_factory.mktemp("demo") / "shop", lambda working: None, lambda service: None)


def record(outcome: DemoOutcome, job: str) -> tuple[JobRecord, Path]:
    path = next(outcome.shop.outbox / r.path for r in outcome.ready if r.path.endswith(f"/{job}-r1"))
    return JobRecord.model_validate_json((path / "job.json").read_bytes()), path


def codes(of: JobRecord) -> set[str]:
    return {r.code for r in of.reasons} | {r.code for radio in of.radios for r in radio.reasons}


def test_a_folder_that_holds_anything_is_no_place_for_the_demo(
    run: Run, shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = (shop.root / "keyturn.toml").read_bytes()
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("mine")
    for place in (shop.root, tmp_path / "mine", tmp_path / "mine" / "notes.txt"):
        assert run("demo", "--keep", place) == 2
        assert "name a new or empty folder" in capsys.readouterr().err
    assert (shop.root / "keyturn.toml").read_bytes() == settings
    assert list(shop.inbox.iterdir()) == [] and [p.name for p in (tmp_path / "mine").iterdir()] == ["notes.txt"]


def test_every_sample_ends_in_outbox_or_rejects(outcome: DemoOutcome) -> None:
    samples = {p.parent.name for p in demo.SAMPLES.glob("*/job.toml")}
    archived = {json.loads(p.read_bytes())["drop"] for p in outcome.shop.outbox.glob("[!.]*/*/job.json")}
    assert archived | {r.name for r in outcome.refused} == samples
    assert not list(outcome.shop.inbox.iterdir()) and not list(outcome.shop.work.iterdir())


def test_one_is_refused_for_four_reasons_at_once(outcome: DemoOutcome) -> None:
    (refused,) = outcome.refused
    assert refused.name == "ferry-steps"
    found = {r.code for r in refused.reasons}
    assert {"manifest-key-unknown", "radio-unknown", "picture-broken", "frames-doubled"} == found


def test_one_is_mended_a_lot(outcome: DemoOutcome) -> None:
    mended = codes(record(outcome, "garden-gate")[0])
    assert {"junk-skipped", "frames-padded", "interlace-removed", "turned-upright", "depth-reduced"} <= mended
    assert {"frames-gap", "dithered"} <= mended


def test_the_lamps_play_three_times_and_hold_well_inside_the_shortest_boot(outcome: DemoOutcome) -> None:
    """An animation that must not be cut plays inside the shortest boot and then holds (common practice, no source);
    the portrait panel is 768 x 1024 (common practice, no source)."""
    made, path = record(outcome, "lamp-by-lamp")
    (radio,) = made.radios
    assert radio.timeline.once_only_s <= radio.timeline.boot_shortest_s
    data = zipfile.ZipFile(path / "usb" / "bootanimation.zip").read("desc.txt").decode("ascii")
    assert data == f"768 1024 {radio.fps}\np 3 0 part0\np 0 0 part1\n"
    assert radio.handoff.share_changed == 0
    assert radio.flash.passes


@pytest.mark.system
def test_every_zip_and_picture_of_the_demo_is_sound(
    outcome: DemoOutcome, needs: Callable[[str], str], tmp_path: Path
) -> None:
    """Info-ZIP's unzip and pngcheck: independent readers."""
    zips = sorted(outcome.shop.outbox.glob("[!.]*/*/usb*/bootanimation.zip"))
    assert len(zips) >= 12
    for number, path in enumerate(zips):
        tested = subprocess.run([needs("unzip"), "-t", path], capture_output=True, text=True)
        assert "No errors detected" in tested.stdout
        listing = subprocess.run([needs("zipinfo"), path], capture_output=True, text=True, check=True).stdout
        entries = [row.split() for row in listing.splitlines() if row.startswith("-")]
        assert {entry[5] for entry in entries} == {"stor"}
        zipfile.ZipFile(path).extractall(tmp_path / str(number))
    pictures = [*tmp_path.rglob("*.png"), *outcome.shop.outbox.glob("[!.]*/*/usb*/logo.png")]
    for start in range(0, len(pictures), 50):
        said = subprocess.run([needs("pngcheck"), *pictures[start : start + 50]], capture_output=True, text=True)
        assert said.returncode == 0, said.stdout
        rows = [row for row in said.stdout.splitlines() if row.startswith("OK")]
        assert len(rows) == len(pictures[start : start + 50])
        kinds = ("24-bit RGB, non-interlaced", "8-bit palette, non-interlaced")
        assert all(any(kind in row for kind in kinds) for row in rows)


def test_the_sheets_stay_small_enough_to_mail(outcome: DemoOutcome) -> None:
    sheets = list(outcome.shop.outbox.glob("*/proof.html"))
    assert len(sheets) == 4
    assert all(sheet.stat().st_size < 6_000_000 for sheet in sheets)
    alone = next(outcome.shop.outbox.glob("*/lamp-by-lamp-r1/proof.html"))
    assert alone.stat().st_size < 3_000_000, "one job, with moving pictures of 540 pixels"


# -- the whole way ------------------------------------------------------------------------------------


def test_one_job_is_approved_one_drop_is_mended_and_the_others_wait(outcome: DemoOutcome) -> None:
    """The folders say the same as the board: the answer lies beside the revision, and nothing is left in rejects."""
    whole = demo.play_on(outcome, lambda working: None, lambda service: None)
    assert whole.mended == ("ferry-steps",) and not whole.refused and not list(whole.shop.rejects.iterdir())
    stand = {job.path.partition("/")[2]: (job.place, job.said) for job in whole.jobs}
    assert stand["van-two-r1"] == ("stick", "yes from Ada Lindqvist") and stand["ferry-steps-r1"] == ("customer", "")
    assert len(stand) == 13 and {place for place, _ in stand.values()} == {"stick", "customer"}
    approved = [path.parent.name for path in whole.shop.outbox.glob("*/*/answer.json")]
    assert approved == ["van-two-r1"]
    said = io.StringIO()
    demo._print_outcome(Console(file=said, force_terminal=True, soft_wrap=True, emoji=False), whole)
    demo._print_outcome(Console(file=said, soft_wrap=True, emoji=False), whole)
    board = whole.shop.board.as_uri()
    # OSC 8 (Hyperlinks in terminal emulators): ESC ] 8 ; parameters ; address
    assert re.search(rf"\x1b]8;[^;]*;{re.escape(board)}\x1b", said.getvalue())
    assert f"\nboard    {board}\n" in said.getvalue()
    assert "van-two for Fern Hollow Mobile Library: to be put on a stick (yes from Ada Lindqvist)" in said.getvalue()


@pytest.mark.parametrize(("opens", "said"), [(True, ""), (False, "No browser was found here.")])
def test_the_board_is_shown_or_it_is_said_that_no_browser_is_here(
    run: Run, shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], opens: bool, said: str
) -> None:
    """webbrowser, Python's documentation: open returns False where no browser could be started."""
    asked: list[str] = []
    monkeypatch.setattr("webbrowser.open", lambda address: asked.append(address) or opens)
    monkeypatch.setattr(demo, "run_samples", lambda *how: DemoOutcome(shop, (), ()))
    monkeypatch.setattr(demo, "play_on", lambda first, *how: first)
    assert run("demo", "--open") == 0
    told = capsys.readouterr().err
    assert asked == [shop.board.as_uri()] and (said in told) and (bool(told.strip()) == bool(said))
