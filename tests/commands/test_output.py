"""What several commands print: names as text, reasons in order, progress and the log."""

from __future__ import annotations

import io
import json
import os
import re
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from loguru import logger
from rich.console import Console

from keyturn.commands import output
from keyturn.shop.reasons import mended, note, refuse

BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""The characters that turn the direction of text (Unicode Standard Annex 9, the property Bidi_Control)."""


def console(*, terminal: bool = False) -> Console:
    return Console(file=io.StringIO(), highlight=False, soft_wrap=True, emoji=False, force_terminal=terminal, width=100)


def printed(to: Console) -> str:
    assert isinstance(to.file, io.StringIO)
    return to.file.getvalue()


@given(st.text(st.characters(codec="utf-8", exclude_characters="\\"), max_size=40))
def test_any_name_is_printed_as_text(name: str) -> None:
    """Control characters (Unicode category Cc; ECMA-48) and changes of direction come out as U+FFFD.

    Backslashes are left out: they are doubled at the end, since markup may follow, and before a bracket, which may
    begin markup. Neither can do harm.
    """
    to = console()
    to.print(output.plain(name))
    controls = [c for c in name if unicodedata.category(c) in ("Cc", "Zl", "Zp") or c in BIDI]
    expected = "".join("\N{REPLACEMENT CHARACTER}" if c in controls else c for c in name)
    assert printed(to) == expected + "\n"


def test_a_backslash_at_the_end_of_a_name_does_not_break_the_markup_after_it() -> None:
    to = console()
    to.print(f"[bold]{output.plain('van' + chr(92))}[/] is made")
    assert printed(to) == "van\\ is made\n"


def test_markup_in_a_name_is_printed_as_text() -> None:
    to = console(terminal=True)
    to.print(output.plain("[bold]van[/] [link=x]y"))
    assert printed(to) == "[bold]van[/] [link=x]y\n"


def test_a_name_that_is_not_utf_8_is_printed_and_written_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """PEP 383: such bytes come as lone surrogates, which no encoder of UTF-8 takes; as JSON they come back whole."""
    to, name = console(), os.fsdecode(b"van\xff")
    to.print(output.plain(name))
    assert printed(to) == "van\N{REPLACEMENT CHARACTER}\n"
    output.write_json({"name": name})
    said = capsys.readouterr().out
    assert said.isascii() and os.fsencode(json.loads(said)["name"]) == b"van\xff"


def test_refusals_come_first_then_what_was_mended_then_notes() -> None:
    to = console()
    output.reasons(to, [note("a", "one"), mended("b", "two"), refuse("c", "three", "mend it", file="x.png")])
    assert printed(to) == "refused  x.png: three -> mend it\nmended  two\nnote  one\n"


def test_elsewhere_than_on_a_terminal_progress_is_a_line_a_stage() -> None:
    to = console()
    with output.progress(to, quiet=False) as progress:
        for done in range(3):
            progress("frames", done, 3)
        progress("zip", 0, 1)
    assert printed(to) == "frames\nzip\n"


@pytest.mark.parametrize("terminal", [False, True])
def test_a_quiet_command_shows_no_progress(terminal: bool) -> None:
    to = console(terminal=terminal)
    with output.progress(to, quiet=True) as progress:
        progress("frames", 1, 3)
    assert printed(to) == ""


def test_on_a_terminal_progress_is_a_bar_that_counts() -> None:
    to = console(terminal=True)
    with output.progress(to, quiet=False) as progress:
        progress("frames", 2, 3)
    assert "frames" in printed(to) and "2/3" in printed(to)


def test_the_log_tells_the_time_except_to_the_journal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """systemd.exec(5): JOURNAL_STREAM is set where standard error goes to the journal, which has times of its own."""
    monkeypatch.delenv("JOURNAL_STREAM", raising=False)
    output.log_to()
    logger.info("the service runs")
    assert re.fullmatch(r"\d\d:\d\d:\d\d INFO     the service runs\n", capsys.readouterr().err)
    monkeypatch.setenv("JOURNAL_STREAM", "8:1")
    output.log_to()
    logger.info("the service runs")
    assert capsys.readouterr().err == "INFO     the service runs\n"


OBEYED = "\n\r\x1b\x85\x9b\u2028\u202e\udcff"
HOSTILE = "van\n<3>forged\r\x1b[31m\x85\x9b\u2028\u202e\udcff<red>{x}"


def test_a_name_makes_no_line_of_its_own_in_the_journal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """sd-daemon(3): each line is an entry, and "<3>" at its start makes it an error."""
    monkeypatch.setenv("JOURNAL_STREAM", "8:1")
    output.log_to()
    logger.info("{}: taken from the inbox", HOSTILE)
    shown = HOSTILE.translate(
        dict.fromkeys(map(ord, "\n\r\x1b\x85\x9b\u2028\u202e\udcff"), "\N{REPLACEMENT CHARACTER}")
    )
    assert capsys.readouterr().err == f"INFO     {shown}: taken from the inbox\n"


@pytest.mark.parametrize("journal", [True, False])
def test_a_bug_is_logged_whole_and_a_name_in_it_makes_no_line_either(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], journal: bool
) -> None:
    if journal:
        monkeypatch.setenv("JOURNAL_STREAM", "8:1")
    else:
        monkeypatch.delenv("JOURNAL_STREAM", raising=False)
    output.log_to()
    try:
        try:
            raise KeyError("inner")
        except KeyError:
            raise ValueError(HOSTILE)  # noqa: B904 - the chain is shown
    except ValueError as error:
        logger.opt(exception=error).error("{}: our own bug", "van")
    first, *rest = capsys.readouterr().err.split("\n")
    assert first.endswith("ERROR    van: our own bug") and rest.pop() == ""
    assert "KeyError: 'inner'" in "".join(rest) and "ValueError: van" in "".join(rest)
    assert sum("test_output.py" in line for line in rest) == 2, "both places are named"
    assert all(line.startswith("  ") and not set(OBEYED) & set(line) for line in rest)


def test_the_log_goes_to_a_file_too(tmp_path: Path) -> None:
    """ISO 8601: a line of the file has its date and its offset from UTC."""
    file = tmp_path / "keyturn.log"
    output.log_to("WARNING", str(file))
    logger.info("not this")
    logger.warning("only this")
    logger.remove()
    line = file.read_text(encoding="utf-8")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d{4} WARNING  only this\n", line)
