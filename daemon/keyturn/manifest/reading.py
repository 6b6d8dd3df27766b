"""Read a manifest from its file, and report all its errors at once."""

from __future__ import annotations

import stat
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from keyturn.manifest import dotted_keys, wording
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.shop.reasons import Reason, Refused, refuse

_MISNAMED = ("job.toml.txt", "job.txt", "jobs.toml", "job.tml", "job.toml")
"""Names, in small letters, that artists give to the manifest by mistake."""


def read(folder: Path, *, max_kib: float = 256) -> Manifest:
    """Return the manifest of the drop in `folder`. Raise `Refused` with every error in it."""
    return parse(_read_file(folder, max_kib))


def read_leniently(folder: Path, *, max_kib: float = 256) -> tuple[Manifest | None, tuple[Reason, ...]]:
    """Return what can be understood of the manifest in `folder`, and its errors.

    The manifest is None where nothing can be understood. With the rest of it the art can be checked too, so that
    the artist gets all reasons at once.
    """
    try:
        data = _read_file(folder, max_kib)
    except Refused as refused:
        return None, refused.reasons
    return parse_leniently(data)


def parse(data: bytes) -> Manifest:
    """Return the manifest in the bytes of its file, which may start with a byte-order mark. Raise `Refused`."""
    manifest, reasons = parse_leniently(data)
    if manifest is None or reasons:
        raise Refused(reasons)
    return manifest


def parse_leniently(data: bytes) -> tuple[Manifest | None, tuple[Reason, ...]]:
    """As `read_leniently`, from the bytes of the file. A field with an error gets its default."""
    try:
        table = _toml(data)
        return Manifest.model_validate(table), ()
    except Refused as refused:
        return None, refused.reasons
    except ValidationError as error:
        errors = error.errors()
    reasons = wording.reasons_for(errors)
    for each in errors:
        _take_out(table, each["loc"])
    try:
        return Manifest.model_validate(table), reasons
    except ValidationError:
        return None, reasons


def _read_file(folder: Path, max_kib: float) -> bytes:
    path = folder / FILE_NAME
    most = int(max_kib * 1024)
    try:
        if not stat.S_ISREG(path.lstat().st_mode):  # reading a pipe never ends, and a link may lead anywhere
            raise _unreadable("is a link or no ordinary file", "put the file itself here")
        with path.open("rb") as file:
            data = file.read(most + 1)
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
        raise Refused([_missing(folder)]) from None
    if len(data) > max_kib * 1024:
        raise _unreadable(f"is larger than {max_kib:g} KiB", "a manifest is a few lines of text")
    return data


def _missing(folder: Path) -> Reason:
    names = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    misnamed = next((name for name in names if name.lower() in _MISNAMED), None)
    mend = f"rename {misnamed} to {FILE_NAME}" if misnamed else f"add a {FILE_NAME} with at least customer and radio"
    return refuse("manifest-missing", f"the drop has no {FILE_NAME}", mend, file=misnamed)


def _unreadable(what: str, mend: str) -> Refused:
    return Refused([refuse("manifest-unreadable", what, mend, file=FILE_NAME)])


def _toml(data: bytes) -> dict[str, Any]:
    """Return the file as nested tables. Raise `Refused` where it is not TOML."""
    try:
        text = data.decode("utf-8-sig")
        if line := dotted_keys.line_of_too_long(text):
            most = dotted_keys.MOST_PARTS
            raise _unreadable(f"has a key of more than {most} parts in line {line}", "use only the keys of the README")
        return tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise _unreadable(f"is not UTF-8 text (byte {error.start})", "save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise _unreadable(f"is not valid TOML: {error}", 'write values as in radio = "tall-768x1024"') from None
    except RecursionError:
        raise _unreadable("is nested too deeply", "use only the tables that the README shows") from None
    except ValueError as error:  # for example a number of thousands of digits
        raise _unreadable(f"is not valid TOML: {error}", "write plain, short values") from None


def _take_out(table: Any, loc: tuple[int | str, ...]) -> None:
    """Remove the field at `loc`, the place of a pydantic error, so that it gets its default.

    `loc` also holds steps that are not in the table: they name members of a union. The walk stops there.
    """
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
