"""Every command prints names, and any other text from outside, as one line of plain text.

Nothing in a name acts on a terminal (ECMA-48), turns the direction of the text beside it (Unicode Standard Annex 9), is
taken for rich's markup, or begins a line of its own.
"""

from __future__ import annotations

import io
import json
import unicodedata
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

import page_records as records
from keyturn.commands import answer, demo, doctor, inspect, job_status, make, output, slip_entry, status
from keyturn.commands.demo import DemoOutcome
from keyturn.commands.finding import Finding, Health
from keyturn.commands.job_status import JobStatus
from keyturn.commands.make_by_hand import MadeByHand
from keyturn.pipeline import Made
from keyturn.radio import archive
from keyturn.radio.archive import DESC, Entry
from keyturn.radio.inspect import look
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Reason, refuse
from keyturn.shop.records import PlayerRecord, ProofRecord
from keyturn.shop.slips import Slip
from keyturn.shop.state_records import (
    AsideDrop,
    PlaceCounts,
    PlacedJob,
    Ready,
    RefusedDrop,
    ShopState,
    VehicleLine,
    Waiting,
    Working,
)
from samples import Drop, Run, examples

BIDI_CONTROL = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")

PIECES = ("[/]", "[/x]", "[", "]", "[/x", "y]", "[bold]", "[link=x]", "\\", "\n<3>forged", "\r", "\x1b[31m", "\x07")
PIECES += ("\x85", "\x9b1m", "\u2028", "\u2029", *sorted(BIDI_CONTROL), "van", " ")
pieces = st.one_of(st.sampled_from(PIECES), st.text(st.characters(codec="utf-8"), min_size=1, max_size=4))
names = st.lists(pieces, min_size=1, max_size=5).map("".join)

NAME = "a[/x]\n<3>forged\x1b[31m\x9b\u202ez"
"""One of everything, as a file's name. It holds a slash, as a path does."""
ONE_STEP = NAME.replace("/", "")


def obeyed(text: str) -> set[str]:
    """Return the characters of `text` that a terminal or a reader of lines obeys, but the line feed."""
    kinds = ("Cc", "Cs", "Zl", "Zp")
    return {c for c in text if unicodedata.category(c) in kinds or c in BIDI_CONTROL} - {"\n"}


def printed(show: Callable[[Console], object]) -> str:
    to = Console(file=io.StringIO(), highlight=False, soft_wrap=True, emoji=False, width=100)
    show(to)
    assert isinstance(to.file, io.StringIO)
    return to.file.getvalue()


def job(name: str) -> MadeByHand:
    """Return what was made of a job in which every text is `name`."""
    radio = records.radio(name, folder=name, reasons=(about(name),))
    job = records.job(radio, radio, job=name, customer=name, reasons=(about(name),))
    made = Made(job, ProofRecord(radios=()), PlayerRecord(radios=()))
    return MadeByHand(made, Path("/out") / name, Path("/out") / name)


def about(name: str) -> Reason:
    return refuse("frames-doubled", name, name, file=name, field=name)


def state(name: str) -> ShopState:
    refused = RefusedDrop(name=name, customer=name, path=name, rejected_at=name, reasons=(about(name),))
    ready = Ready(customer=name, job=name, revision=1, radios=(name, name), path=name, made_at=name)
    ready = ready.model_copy(update={"vehicles": (name,)})
    waiting = (Waiting(name=name, files=1, since=name, note=name), Waiting(name=name, files=1, since="", rush=True))
    working = Working(name=name, stage=name, done=1, total=2, since=name)
    return records.state(
        paused=name,
        hook_faults=(name,),
        aside=(AsideDrop(name=name, place=name, what=name, mend=name, since=name, times=2),),
        watching=name,
        waiting=waiting,
        working=(working,),
        ready=(ready,),
        refused=(refused,),
    )


def with_places(name: str) -> ShopState:
    counts = PlaceCounts(change=1, stick=1, fit=1, customer=1, fitted=1)
    return state(name).model_copy(update={"jobs": placed(name), "places": counts})


def outcome(name: str) -> DemoOutcome:
    shown = state(name)
    return DemoOutcome(Shop(Path("/shop") / name), shown.ready, shown.refused, placed(name), (name,))


def placed(name: str) -> tuple[PlacedJob, ...]:
    told = {"customer": name, "job": name, "radios": (name,), "path": name, "made_at": name, "since": name}
    line = VehicleLine(name=name, place="fit", since=name, said=name)
    return records.placed_jobs(5, **told, said=name, vehicles=(name,), lines=(line,))


def verdict(name: str) -> archive.Verdict:
    entries = (Entry(DESC, False), Entry(f"{name}/1.png", False), Entry(name, True))
    return look(entries, f"48 64 12\np 1 6 {name}\n".encode(), None, {})


def said_yes(name: str) -> Slip:
    known = {"kind": "answer", "customer": name, "job": name, "revision": 1, "by": name, "answer": "yes"}
    return Slip.model_construct(**known, id="slip-0001", path=f"{name}/x-r1", digest="ab" * 32, at="")


PRINTERS: dict[str, Callable[[Console, str], object]] = {
    "status": lambda to, name: status._print_state(to, state(name)),
    "status with places": lambda to, name: status._print_state(to, with_places(name)),
    "status of a job": lambda to, name: job_status.print_status(to, JobStatus(placed(name)[0], 2, name)),
    "answer": lambda to, name: answer._print_noted(to, said_yes(name), slip_entry.WRITTEN),
    "make and check": lambda to, name: make.print_made(to, job(name)),
    "reasons": lambda to, name: output.reasons(to, [about(name)]),
    "doctor": lambda to, name: doctor._print_findings(to, [Finding(Health.MIND, name, name)]),
    "demo": lambda to, name: demo._print_outcome(to, outcome(name)),
    "inspect": lambda to, name: inspect.print_verdict(to, verdict(name)),
}


@pytest.mark.parametrize("command", PRINTERS)
@settings(max_examples=examples(500), deadline=None)
@given(name=names)
def test_no_name_does_anything_to_the_terminal(command: str, name: str) -> None:
    said = printed(lambda to: PRINTERS[command](to, name))
    assert not obeyed(said)
    if command != "inspect":  # whose rows of desc.txt are words between blanks
        assert said.count("\n") == printed(lambda to: PRINTERS[command](to, "van")).count("\n")


@settings(max_examples=examples(500), deadline=None)
@given(st.lists(names, min_size=1, max_size=3))
def test_names_beside_each_other_make_no_markup(beside: list[str]) -> None:
    """Two names that are harmless alone can make a tag together: "[/x" and "y]"."""
    said = printed(lambda to: to.print("[bold]" + " for ".join(map(output.plain, beside)) + "[/] is made"))
    assert said.endswith(" is made\n")
    assert sum(map(said.count, "[]")) == sum(name.count(bracket) for name in beside for bracket in "[]")


# -- the commands themselves ------------------------------------------------------------------------


def both(capsys: pytest.CaptureFixture[str]) -> str:
    said = capsys.readouterr()
    return said.out + said.err


def is_harmless(said: str) -> bool:
    return not obeyed(said) and not any(line.startswith("<3>") for line in said.splitlines())


def test_status_of_a_shop_with_hostile_names(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    """The record of a refused drop lies where the group may write: any text may stand for its time."""
    drop("x").rename(shop.inbox / ONE_STEP)
    refused = shop.rejects / ONE_STEP
    refused.mkdir()
    rejection = records.rejection(rejected_at=NAME, customer=NAME, reasons=(about(NAME),))
    (refused / "REJECTED.json").write_text(rejection.model_dump_json(), encoding="utf-8")
    assert run("status", "--root", shop.root) == 0
    assert is_harmless(both(capsys))


def test_programs_get_the_names_whole_and_terminals_nothing_to_obey(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    """RFC 8259, 7: any character may stand as an escape, and means the same."""
    drop("x").rename(shop.inbox / ONE_STEP)
    assert run("status", "--root", shop.root, "--json") == 0
    said = capsys.readouterr().out
    assert json.loads(said)["waiting"][0]["name"] == ONE_STEP
    assert is_harmless(said)


@pytest.mark.parametrize(
    "line",
    [
        ("check", NAME),
        ("make", NAME, "--out", "out"),
        ("retry", NAME),
        ("copy", NAME),
        ("copy", "van", NAME),
        ("doctor", "--root", NAME),
        ("status", "--root", NAME),
        ("inspect", NAME),
        ("flash", NAME, "--fps", "10"),
        ("flash", "x", "--fps", "10", "--screen", NAME),
        ("calibrate", NAME),
        ("calibrate", "tall-768x1024", "--read", NAME),
        ("new", "x", "--radio", NAME),
        ("new", "x", "--kind", NAME),
        ("check", "x", NAME),
        ("check", "--" + NAME),
        ("flash", "x", "--fps", NAME),
        (NAME,),
    ],
    ids=lambda line: " ".join("NAME" if NAME in word else word for word in line),
)
def test_a_hostile_name_on_the_command_line(
    run: Run, line: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*line) in (1, 2, 4)  # 4: keyturn flash could not judge
    assert is_harmless(both(capsys))


def test_a_drop_with_a_hostile_name_is_made(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = drop(ONE_STEP)
    (root / ONE_STEP).write_text("a note")
    for command in (("check", root), ("make", root, "--out", tmp_path / ONE_STEP / "out")):
        assert run(*command, "--root", shop.root) == 0
        assert is_harmless(both(capsys))


def test_a_refused_drop_with_a_hostile_name_is_told_and_taken_back(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    root = drop(ONE_STEP, manifest='customer = "C"\nradio = "[/x]\\u009b"\n')
    assert run("check", root, "--root", shop.root) == 1
    assert is_harmless(both(capsys))
    root.rename(shop.rejects / ONE_STEP)
    assert run("retry", ONE_STEP, "--root", shop.root) == 0
    assert is_harmless(both(capsys))


def test_an_archive_with_hostile_names_is_inspected(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / ONE_STEP
    with zipfile.ZipFile(path, "w") as archive_of_names:
        archive_of_names.writestr("desc.txt", f"48 64 12\np 1 6 {ONE_STEP}\n")
        archive_of_names.writestr(f"{ONE_STEP}/{NAME}.png", b"")
    for how in ((), ("--json",)):
        assert run("inspect", path, *how) in (0, 1)
        assert is_harmless(both(capsys))
