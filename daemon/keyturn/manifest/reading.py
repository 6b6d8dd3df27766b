"""Read a manifest: all its errors are reported at once, each with its field and a mend in the artist's words."""

from __future__ import annotations

import stat
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.manifest.wording import explained, merged
from keyturn.shop.reasons import Reason, Refused, refuse


def read(folder: Path, *, max_kib: float = 256) -> Manifest:
    """The manifest of the drop in `folder`. Raises `Refused` with every error found."""
    return parse(_bytes(folder, max_kib))


def _bytes(folder: Path, max_kib: float) -> bytes:
    path = folder / FILE_NAME
    try:
        if not stat.S_ISREG(path.lstat().st_mode):  # a pipe would wait for ever, a link may lead anywhere
            raise _unreadable("is a link or no ordinary file", "put the file itself here")
        with path.open("rb") as file:
            data = file.read(int(max_kib * 1024) + 1)
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
        raise Refused([_missing(folder)]) from None
    if len(data) > max_kib * 1024:
        raise _unreadable(f"is larger than {max_kib:g} KiB", "a manifest is a few lines of text")
    return data


def _missing(folder: Path) -> Reason:
    names = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []
    near = [n for n in names if n.lower() in ("job.toml.txt", "job.txt", "jobs.toml", "job.tml", "job.toml")]
    hint = f"rename {near[0]} to {FILE_NAME}" if near else f"add a {FILE_NAME} with at least customer and radio"
    return refuse("manifest-missing", f"the drop has no {FILE_NAME}", hint, file=near[0] if near else None)


def _unreadable(what: str, mend: str) -> Refused:
    return Refused([refuse("manifest-unreadable", what, mend, file=FILE_NAME)])


def parse(data: bytes) -> Manifest:
    """A manifest from the bytes of its file; a byte-order mark is forgiven. Raises `Refused`."""
    manifest, reasons = parse_leniently(data)
    if manifest is None or reasons:
        raise Refused(reasons)
    return manifest


def read_leniently(folder: Path, *, max_kib: float = 256) -> tuple[Manifest | None, tuple[Reason, ...]]:
    """As `read`, but gives what can be understood beside the errors, so that the art can be looked at
    too and the artist hears of everything at once. None where nothing could be understood."""
    try:
        data = _bytes(folder, max_kib)
    except Refused as refused:
        return None, refused.reasons
    return parse_leniently(data)


def parse_leniently(data: bytes) -> tuple[Manifest | None, tuple[Reason, ...]]:
    try:
        table = _table(data)
        return Manifest.model_validate(table), ()
    except Refused as refused:
        return None, refused.reasons
    except ValidationError as error:
        problems = error.errors()
    reasons = tuple(explained(problem) for problem in merged(problems))
    for problem in problems:
        _take_out(table, problem["loc"])
    try:
        return Manifest.model_validate(table), reasons
    except ValidationError:
        return None, reasons


def _table(data: bytes) -> dict[str, Any]:
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise _unreadable(f"is not UTF-8 text (byte {error.start})", "save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise _unreadable(f"is not valid TOML: {error}", 'write values as in radio = "tall-768x1024"') from None
    except RecursionError:
        raise _unreadable("is nested too deeply", "a manifest needs no nesting") from None
    except ValueError as error:  # a number of thousands of digits, say
        raise _unreadable(f"is not valid TOML: {error}", "write plain, short values") from None


def _take_out(table: Any, loc: tuple[int | str, ...]) -> None:
    """Removes the field a problem is about, so that its default stands in for it."""
    for step, following in pairwise(loc):
        inner = table.get(step) if isinstance(table, dict) else None
        if isinstance(table, list) and isinstance(step, int) and step < len(table):
            inner = table[step]
        if not isinstance(inner, dict | list) or isinstance(following, int) != isinstance(inner, list):
            loc = (step,)
            break
        table = inner
    else:
        loc = loc[-1:]
    if isinstance(table, dict):
        table.pop(loc[0], None)
