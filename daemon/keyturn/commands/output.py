"""What several commands print: reasons, progress and the log.

Names from drops are printed as text, never as markup or terminal codes.
"""

from __future__ import annotations

import json
import os
import re
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from keyturn.shop.plain_text import escaped_in_json, plain_line
from keyturn.shop.reasons import Kind, Reason
from keyturn.shop.wrong_use import WrongUse

if TYPE_CHECKING:  # loguru names these types in its stub alone
    from loguru import Record, RecordException

LOG_LINE = "<green>{time:HH:mm:ss}</green> <level>{level: <8}</level> "
FILE_LINE = "{time:YYYY-MM-DDTHH:mm:ss.SSSZZ} {level: <8} "
JOURNAL_LINE = "{level: <8} "
"""How a line of the log begins, before its message."""

_MARKUP = re.compile(r"(\\*)(\[|$)")
"""Backslashes, and the bracket that they stand before. rich reads a bracket after an odd number of them as text."""

_WORDS = {Kind.REFUSE: "[bold red]refused[/]", Kind.MENDED: "[green]mended[/]", Kind.NOTE: "[yellow]note[/]"}


def plain(text: str) -> str:
    """Return `text` for rich's markup, so that a terminal shows it as one line of text.

    Every bracket is escaped, for rich.markup.escape leaves those that make no tag by themselves: "[/x" and "y]" beside
    each other make one.
    """
    return _MARKUP.sub(lambda found: found[1] * 2 + ("\\[" if found[2] else ""), plain_line(text))


def write_json(value: object, *, one_line: bool = False) -> None:
    """Write `value` to standard output as JSON. What a terminal would obey becomes an escape, as \\u009b."""
    indent, separators = (None, (",", ":")) if one_line else (2, None)
    text = json.dumps(value, indent=indent, separators=separators, ensure_ascii=False)
    sys.stdout.write(escaped_in_json(text) + "\n")


def page_file(named: Path) -> Path:
    """Return the whole path of a page to write. Raise `WrongUse` where it would not be a page, or has no folder."""
    page = named.resolve()
    if page.suffix.lower() not in {".html", ".htm"} or page.is_dir():
        raise WrongUse(f"{page} is no name for a page", "let --out end in .html")
    if not page.parent.is_dir():
        raise WrongUse(f"the folder {page.parent} is not there", "make it, or name another file with --out")
    return page


@contextmanager
def progress(console: Console, quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Yield a function that shows stage, done and total: as a bar on a terminal, elsewhere as one line a stage."""
    if quiet or not console.is_terminal:
        yield _lines(console, quiet)
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("reading", total=None)
        yield lambda stage, done, total: bar.update(task, description=plain(stage), completed=done, total=total)


def _lines(console: Console, quiet: bool) -> Callable[[str, int, int], None]:
    told: set[str] = set()

    def tell(stage: str, done: int, total: int) -> None:
        if not quiet and stage not in told:
            told.add(stage)
            console.print(plain(stage))

    return tell


def reasons(console: Console, found: Iterable[Reason]) -> None:
    """Print refusals first, then what was mended, then notes."""
    order = [Kind.REFUSE, Kind.MENDED, Kind.NOTE]
    for reason in sorted(found, key=lambda r: order.index(r.kind)):
        console.print(f"{_WORDS[reason.kind]}  {plain(reason.line())}")


def log_to(level: str = "INFO", file: str = "") -> None:
    """Log one line an event to standard error and, where one is named, to a file. A bug's traceback follows, indented.

    The journal adds the time itself. A new file begins at 10 MB; the last ten are kept.
    """
    from loguru import logger

    logger.remove()
    under_journal = "JOURNAL_STREAM" in os.environ
    logger.add(sys.stderr, level=level, format=_lines_after(JOURNAL_LINE if under_journal else LOG_LINE))
    if file:
        logger.add(file, level=level, rotation="10 MB", retention=10, format=_lines_after(FILE_LINE))


def _lines_after(start: str) -> Callable[[Record], str]:
    """Return a function that gives loguru the format of one event: `start` and the message on one line, and where
    there is an exception its traceback.

    Each line begins with text of ours, never with a name from outside: one such as "<3>van" would set the line's
    priority in the journal (sd-daemon(3)).
    """

    def format_of(record: Record) -> str:
        record["extra"]["shown"] = "\n  ".join([plain_line(record["message"]), *_traceback(record["exception"])])
        return start + "{extra[shown]}\n"

    return format_of


def _traceback(exception: RecordException | None) -> list[str]:
    if exception is None or exception.type is None:
        return []
    text = "".join(traceback.format_exception(exception.type, exception.value, exception.traceback))
    return [plain_line(line) for line in text.rstrip("\n").split("\n")]
