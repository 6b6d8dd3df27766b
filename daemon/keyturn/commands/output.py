"""What several commands print: reasons, progress and the log.

Names from drops are printed as text, never as markup or terminal codes.
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from loguru import logger
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from keyturn.shop import settings
from keyturn.shop.reasons import Kind, Reason

LOG_LINE = "<green>{time:HH:mm:ss}</green> <level>{level: <8}</level> {message}"
FILE_LINE = "{time:YYYY-MM-DDTHH:mm:ss.SSSZZ} {level: <8} {message}"
JOURNAL_LINE = "{level: <8} {message}"

_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters, changes of the writing direction, and surrogates: bytes of a name that are not UTF-8."""

_WORDS = {Kind.REFUSE: "[bold red]refused[/]", Kind.MENDED: "[green]mended[/]", Kind.NOTE: "[yellow]note[/]"}


def plain(text: str) -> str:
    """Return `text` so that a terminal shows it as it is: rich's markup escaped, unprintable characters as U+FFFD."""
    return escape(_UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text))


def write_json(value: object, *, one_line: bool = False) -> None:
    """Write `value` to standard output as JSON. Bytes of a name that are not UTF-8 become escapes, as \\udcff."""
    indent, separators = (None, (",", ":")) if one_line else (2, None)
    text = json.dumps(value, indent=indent, separators=separators, ensure_ascii=False)
    sys.stdout.write(text.encode("utf-8", "backslashreplace").decode("utf-8") + "\n")


@contextmanager
def progress(console: Console, quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Yield a function that shows stage, done and total: as a bar on a terminal, elsewhere as one line a stage."""
    if quiet or not console.is_terminal:
        yield _lines(console, quiet)
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("reading", total=None)
        yield lambda stage, done, total: bar.update(task, description=stage, completed=done, total=total)


def _lines(console: Console, quiet: bool) -> Callable[[str, int, int], None]:
    told: set[str] = set()

    def tell(stage: str, done: int, total: int) -> None:
        if not quiet and stage not in told:
            told.add(stage)
            console.print(stage)

    return tell


def reasons(console: Console, found: Iterable[Reason]) -> None:
    """Print refusals first, then what was mended, then notes."""
    order = [Kind.REFUSE, Kind.MENDED, Kind.NOTE]
    for reason in sorted(found, key=lambda r: order.index(r.kind)):
        console.print(f"{_WORDS[reason.kind]}  {plain(reason.line())}")


def log_to(log: settings.LogSettings) -> None:
    """Log one line an event to standard error and, where one is set, to a file.

    The journal adds the time itself. A new file begins at 10 MB; the last ten are kept.
    """
    logger.remove()
    under_journal = "JOURNAL_STREAM" in os.environ
    logger.add(sys.stderr, level=log.level, format=JOURNAL_LINE if under_journal else LOG_LINE)
    if log.file:
        logger.add(log.file, level=log.level, rotation="10 MB", retention=10, format=FILE_LINE)
