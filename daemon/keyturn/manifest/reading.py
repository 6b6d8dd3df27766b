"""Read a manifest from its file, and report all its errors at once."""

from __future__ import annotations

import stat
import tomllib
from collections.abc import Collection
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from keyturn.manifest import dotted_keys, file_text, manifest_file, other_words, toml_faults, typed_text, wording
from keyturn.manifest.as_meant import as_meant
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.shop.reasons import Kind, Reason, Refused, mended, note, only, refuse

MOST_FAULTY_LINES = 8
"""So many lines that are no TOML are told at once."""


def read(folder: Path, *, max_kib: float = 256) -> Manifest:
    """Return the manifest of the drop in `folder`. Raise `Refused` with every error in it."""
    return _whole(*read_leniently(folder, max_kib=max_kib))


def read_leniently(
    folder: Path, *, max_kib: float = 256, radios: Collection[str] = ()
) -> tuple[Manifest | None, tuple[Reason, ...]]:
    """Return what can be understood of the manifest in `folder`, what was mended in it, and its errors.

    The manifest is None where nothing can be understood. With the rest of it the art can be checked too, so that
    the artist gets all reasons at once. `radios` are the names that a text in other words may mean.
    """
    names = manifest_file.in_folder(folder)
    if len(names) > 1:
        what = f"there are several files that may be {FILE_NAME}: {', '.join(names[:6])}"
        return None, (refuse("manifest-several", what, f"keep one, and call it {FILE_NAME}", file=names[0]),)
    try:
        if not names:
            raise Refused([_missing(folder, radios)])
        manifest, reasons = parse_leniently(_read_file(folder / names[0], max_kib), names[0])
    except Refused as fault:
        return None, fault.reasons
    refused = only(reasons, Kind.REFUSE)
    if refused and not manifest_file.is_manifest_name(names[0]) and other_words.two_lines(folder, radios):
        return None, (_missing(folder, radios),)
    if manifest is None:
        return None, tuple(_with_two_lines(reason, folder / names[0], radios) for reason in reasons)
    if names[0] != FILE_NAME:
        return manifest, (_renamed(names[0]), *reasons)
    return manifest, (*map(_not_read, manifest_file.beside(folder)), *reasons)


def parse(data: bytes) -> Manifest:
    """Return the manifest in the bytes of its file, which may start with a byte-order mark. Raise `Refused`."""
    return _whole(*parse_leniently(data))


def parse_leniently(data: bytes, file: str = FILE_NAME) -> tuple[Manifest | None, tuple[Reason, ...]]:
    """As `read_leniently`, from the bytes of the file. A field with an error gets its default."""
    try:
        written, reasons = _toml(data, file)
    except Refused as refused:
        return None, refused.reasons
    manifest, more = validated(written, file)
    return manifest, (*reasons, *more)


def validated(written: dict[str, Any], file: str) -> tuple[Manifest | None, tuple[Reason, ...]]:
    """As `parse_leniently`, from the file's tables."""
    table, reasons = as_meant(written, Manifest, file)
    try:
        return Manifest.model_validate(table), tuple(reasons)
    except ValidationError as error:
        errors = error.errors()
    reasons += wording.reasons_for(errors, file)
    for each in errors:
        _take_out(table, each["loc"])
    try:
        return Manifest.model_validate(table), tuple(reasons)
    except ValidationError:
        return None, tuple(reasons)


def read_fleet(folder: Path, *, max_kib: float = 256) -> tuple[dict[str, Any], str, tuple[Reason, ...]] | None:
    """Return the tables of a manifest that names a fleet's table, its file, and what is wrong with or mended in it.

    Return None where the drop in `folder` has no such manifest.
    """
    names = manifest_file.in_folder(folder)
    if len(names) != 1:
        return None
    try:
        written, reasons = _toml(_read_file(folder / names[0], max_kib), names[0])
    except Refused:
        return None
    single = {key: value for key, value in written.items() if not isinstance(value, dict | list)}
    table, more = as_meant(single, Manifest, names[0])
    if "each" not in table:
        return None
    renamed = [_renamed(names[0])] if names[0] != FILE_NAME else [*map(_not_read, manifest_file.beside(folder))]
    rest = {key: value for key, value in written.items() if key not in single}
    return table | rest, names[0], (*renamed, *reasons, *more)


def _whole(manifest: Manifest | None, reasons: tuple[Reason, ...]) -> Manifest:
    if manifest is None or only(reasons, Kind.REFUSE):
        raise Refused(reasons)
    return manifest


def _read_file(path: Path, max_kib: float) -> bytes:
    most = int(max_kib * 1024)
    try:
        if not stat.S_ISREG(path.lstat().st_mode):  # reading a pipe never ends, and a link may lead anywhere
            raise _unreadable("is a link or no ordinary file", "put the file itself here", path.name)
        with path.open("rb") as file:
            data = file.read(most + 1)
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
        raise Refused([_missing(path.parent, ())]) from None
    if len(data) > max_kib * 1024:
        file_text.refuse_other_kinds(data, path.name)
        raise _unreadable(f"is larger than {max_kib:g} KiB", "keep it to a few lines of text", path.name)
    return data


def _missing(folder: Path, radios: Collection[str]) -> Reason:
    if found := other_words.two_lines(folder, radios):
        file, lines = found
        what = f"the drop has no {FILE_NAME}, but {file} says what it needs"
        return refuse("manifest-missing", what, f"save these two lines as {FILE_NAME}:\n{lines}", file=file)
    mend = f'add a text file {FILE_NAME} with two lines: customer = "..." and radio = "..."'
    return refuse("manifest-missing", f"the drop has no {FILE_NAME}", mend)


def _with_two_lines(reason: Reason, path: Path, radios: Collection[str]) -> Reason:
    """Return a reason that knows no remedy of its own with the two lines, where the file says them in other words."""
    lines = other_words.in_file(path, radios) if reason.mend == toml_faults.AS_SHOWN else None
    if lines is None:
        return reason
    return refuse("manifest-unreadable", reason.what, f"write these two lines in it:\n{lines}", file=path.name)


def _renamed(name: str) -> Reason:
    return mended("manifest-renamed", f"was read as {FILE_NAME}", file=name)


def _not_read(name: str) -> Reason:
    mend = f"if this is the right one, put it in the place of {FILE_NAME}, else take it out"
    return note("manifest-left-out", f"was not read: {FILE_NAME} lies beside it", mend, file=name)


def _unreadable(what: str, mend: str, file: str) -> Refused:
    return Refused([refuse("manifest-unreadable", what, mend, file=file)])


def _toml(data: bytes, file: str) -> tuple[dict[str, Any], list[Reason]]:
    """Return the file as nested tables, and what was mended in its text. Raise `Refused` where it is not TOML."""
    text, reasons = file_text.decoded(data, file)
    text, told = typed_text.with_plain_headers(text)
    text, more = typed_text.with_plain_lists(text)
    told += more
    try:
        table = _loads(text, file)
    except tomllib.TOMLDecodeError:
        text, more = typed_text.mended(text)
        told += more
        table, faults = _despite_faults(text, file)
        reasons += faults
    return table, reasons + [mended("manifest-text", what, file=file) for what in told]


def _despite_faults(text: str, file: str) -> tuple[dict[str, Any], list[Reason]]:
    """Return the tables as they would be with each faulty line as it should be, and the faults. Raise `Refused`."""
    faults: list[Reason] = []
    rest: str | None = text
    while rest is not None and len(faults) < MOST_FAULTY_LINES:
        try:
            return _loads(rest, file), faults
        except tomllib.TOMLDecodeError as error:
            reason, rest = toml_faults.fault(rest, error, file)
            faults.append(reason)
    raise Refused(faults)


def _loads(text: str, file: str) -> dict[str, Any]:
    if line := dotted_keys.line_of_too_long(text):
        what = f"has a key of more than {dotted_keys.MOST_PARTS} parts in line {line}"
        raise _unreadable(what, "use only the keys of the README", file)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except RecursionError:
        raise _unreadable("is nested too deeply", "use only the tables that the README shows", file) from None
    except ValueError:  # for example a number of thousands of digits
        raise _unreadable("holds a number or date that is none", "write plain, short values", file) from None


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
