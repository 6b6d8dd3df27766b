"""The rows of a ready-made desc.txt as parts of a manifest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from glob import escape

from keyturn.manifest.models import Part
from keyturn.radio.desc import Desc, Row
from keyturn.renumber.patterns import is_art
from keyturn.shop.reasons import Kind, Reason, mended, note, only, refuse

MOST_PARTS = 60
"""A manifest has at most this many parts."""

LONGEST_PAUSE_S = 60.0
"""The longest pause that a manifest can state."""


@dataclass(frozen=True, slots=True)
class RowFolder:
    """A row, the plain name of the folder it means, and the names of the files in that folder."""

    row: Row
    folder: str
    files: tuple[str, ...]


def row_folders(desc: Desc, files: Sequence[str]) -> list[RowFolder]:
    """Return the rows that a radio reaches, with their folders among the archive's `files`."""
    return [_row_folder(row, files) for row in _reached(desc.rows)[0]]


def parts_of_rows(
    desc: Desc, files: Sequence[str], trusted: int, archive: str
) -> tuple[tuple[Part, ...], list[Reason]]:
    """Return the rows as parts that play at most `trusted` times each, and what is wrong with the rows.

    Where a reason refuses there are no parts. The reasons name the file `archive`.
    """
    reached, reasons = _reached(desc.rows)
    folders = [_row_folder(row, files) for row in reached]
    for folder in folders:
        reasons += [*_row_reasons(folder, files), *_left_out_reasons(folder, desc.fps)]
    parts: list[Part] = []
    if not only(reasons, Kind.REFUSE):
        parts = [part for folder in folders for part in _parts_of_row(folder, desc.fps, trusted)]
        reasons += _count_reasons(parts, reached, trusted)
    return tuple(parts), [reason.model_copy(update={"file": archive}) for reason in reasons]


def _reached(rows: Sequence[Row]) -> tuple[tuple[Row, ...], list[Reason]]:
    """Return the rows up to the first endless one, and what is lost with the others."""
    endless = next((i for i, row in enumerate(rows) if row.count == 0), None)
    if endless is None:
        what = f"had no row that repeats until the radio has booted: the last picture of {rows[-1].path} now stands"
        return tuple(rows), [mended("hold-added", f"{what} until then")]
    left = rows[endless + 1 :]
    reasons = []
    if never := ", ".join(row.path for row in left if row.type != "c"):
        what = f"rows after the endless {rows[endless].path} are never reached and were left out: {never}"
        reasons.append(mended("rows-unreachable", what))
    if late := ", ".join(row.path for row in left if row.type == "c"):
        what = f"would have played after the radio had booted, before the home screen, and was left out: {late}"
        reasons.append(mended("hold-taken-out", what))
    return tuple(rows[: endless + 1]), reasons


def _row_folder(row: Row, files: Sequence[str]) -> RowFolder:
    """Return the row with the folder it means.

    Rows such as part0/ or .\\part0 match no folder on the radio (AOSP), but it is plain which folder they mean.
    """
    folder = "/".join(step for step in row.path.replace("\\", "/").split("/") if step not in ("", "."))
    inside = (name.rpartition("/") for name in files)
    return RowFolder(row, folder, tuple(leaf for there, _, leaf in inside if there.lower() == folder.lower()))


def _row_reasons(part: RowFolder, files: Sequence[str]) -> Iterator[Reason]:
    """Yield what is wrong with the row's path and numbers."""
    row = part.row
    if row.path.startswith("/") or ".." in part.folder.split("/") or not part.folder:
        what = f"a row's path, {row.path}, leads out of the archive"
        yield refuse("row-outside", what, "write the folder's plain name, such as part0")
    elif not any(map(is_art, part.files)):
        yield refuse("part-empty", f"the row {row} names a folder without pictures", _where_pictures_lie(files))
    elif part.folder != row.path:
        yield mended("row-path-mended", f"the row's path {row.path} was read as {part.folder}: a radio finds nothing")
    if row.count < 0 or row.pause < 0:
        what = f"the row {row} has a number below 0: no radio plays it as it was meant"
        yield refuse("row-number", what, "write 0 to repeat until booted, or the number of plays; then the pause")


def _where_pictures_lie(files: Sequence[str]) -> str:
    folders = sorted({name.rpartition("/")[0] or "no folder" for name in files if is_art(name)})
    return f"the archive's pictures lie in: {', '.join(folders[:6])}" if folders else "add the pictures"


def _left_out_reasons(part: RowFolder, fps: int) -> Iterator[Reason]:
    """Yield what of the row a manifest cannot say or a radio on the dash does not play."""
    row = part.row
    if "audio.wav" in part.files:
        yield note("sound-left-out", f"the sound of {row.path} was left out: radios on the dash do not play it")
    if row.type == "c":
        what = f"{row.path} would have kept the screen after the radio had booted; it now ends with the boot"
        yield mended("hold-taken-out", what)
    if row.pause > LONGEST_PAUSE_S * fps:
        what = f"the pause of {row.path}, {row.pause / fps:,.0f} s, was cut to {LONGEST_PAUSE_S:g} s"
        yield mended("pause-cut", what)


def _parts_of_row(part: RowFolder, fps: int, trusted: int) -> list[Part]:
    """Return the row as one part, or as several where it plays more than `trusted` times.

    The format counts pauses in frames, the manifest in seconds.
    """
    row = part.row
    full, rest = divmod(min(row.count, trusted * (MOST_PARTS + 1)), trusted)
    plays = [*[trusted] * full, *[rest] * (rest > 0)] if row.count else ["until-booted"]
    pause = min(row.pause / fps, LONGEST_PAUSE_S)
    return [Part.model_validate({"art": f"{escape(part.folder)}/*", "plays": n, "pause": pause}) for n in plays]


def _count_reasons(parts: Sequence[Part], rows: Sequence[Row], trusted: int) -> list[Reason]:
    """Tell of rows that were spread over several parts; refuse them where that makes too many."""
    many = [row for row in rows if row.count > trusted]
    plays = ", ".join(f"{row.path} {row.count} times" for row in many)
    if len(parts) > MOST_PARTS:
        what = f"plays {plays or f'{len(rows)} parts'}: more than can be made, {MOST_PARTS} parts of {trusted} plays"
        return [refuse("plays-not-trusted", what, "write a lower count, or 0 to repeat until booted")]
    if many:
        what = f"plays {plays}; radios are trusted with {trusted} plays, so the part stands in it more than once"
        return [mended("plays-spread", what)]
    return []
