"""A drop that holds a ready-made bootanimation.zip: taken apart, mended, and made anew for its radio.

What the archive says (rows, rate, pauses) becomes the manifest where the artist's own says nothing; the
frames then go through the line like any other art.
"""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from glob import escape
from pathlib import Path

from keyturn.inbox.survey import Survey, survey
from keyturn.inbox.unpack import unpack
from keyturn.manifest.models import FILE_NAME, Manifest, Part
from keyturn.radio.desc import TRUSTED_PLAYS, Desc, Row, parse
from keyturn.renumber import uncrop
from keyturn.renumber.parts import is_art
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind, Reason, Refused, mended, note, only, refuse, stop_if_refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import Crew

BUNDLE = "bootanimation.zip"
MOST_PARTS = 60
LONGEST_PAUSE_S = 60.0
MOST_FPS = 60
"""What a manifest can say."""

_NAMES = (BUNDLE, f"{BUNDLE}.zip")  # systems that hide the ending make people write it twice
_DESC_NAMES = ("desc.txt", "desc.txt.txt", "desc")
_MARK = b"\xef\xbb\xbf"
_WIDE_MARKS = (b"\xff\xfe", b"\xfe\xff")
_TOLD = frozenset(
    ["row-not-understood", "row-rest", "size-rest", "size-doubled", "size-not-first", "type-unknown", "path-too-long"]
)
"""Faults of desc.txt that the reference player plays on with; what it does then is done here too, and told."""


def holds_bundle(found: Survey, manifest: Manifest) -> bool:
    """Is there a bootanimation.zip, and does the manifest leave the parts to it?"""
    return not manifest.part and _bundle(found) is not None


def _bundle(found: Survey) -> str | None:
    if BUNDLE in found.files:
        return BUNDLE
    return next((name for name in found.files if name.lower() in _NAMES), None)


def adopt(
    found: Survey, manifest: Manifest, scratch: Path, rules: Rulebook, crew: Crew
) -> tuple[Survey, Manifest, tuple[Reason, ...]]:
    """The drop with its bundle unpacked, and a manifest with the bundle's parts. Raises `Refused`."""
    name = _bundle(found) or BUNDLE
    reasons = [note("adopted", "was taken apart and made anew", file=name)]
    inside = scratch / "adopted"
    inside.mkdir()
    inner, packing = _taken_apart(found.root / name, inside, rules)
    desc, mends = _desc(inner.root, name)
    parts, findings = _parts(desc, inner.files, _trusted_plays(manifest, rules), name)
    reasons += [*packing, *mends, *findings, *_size(desc, manifest, rules, name)]
    stop_if_refused(reasons)
    reasons += _named(_made_whole(inner, desc, rules, crew), name)
    stop_if_refused(reasons)
    update: dict[str, object] = {"part": parts}
    if "fps" not in manifest.motion.model_fields_set:
        update["motion"] = manifest.motion.model_copy(update={"fps": min(desc.fps, MOST_FPS)})
    return _with_own_files(inner, found, name), manifest.model_copy(update=update), tuple(dict.fromkeys(reasons))


# -- the archive ------------------------------------------------------------------------------------


def _taken_apart(archive: Path, into: Path, rules: Rulebook) -> tuple[Survey, list[Reason]]:
    """What lay in the archive, from the folder with desc.txt down. Raises `Refused`, every reason naming it."""
    try:
        reasons = [*unpack(archive, into, rules.intake, name=archive.name, fat=rules.usb.fat)]
    except Refused as refused:
        raise Refused(_named(refused.reasons, archive.name)) from None
    root, nested = _root(into, archive)
    if nested:
        reasons.append(mended("folder-zipped", "its folder was zipped instead of what is in it: a radio shows nothing"))
    with zipfile.ZipFile(archive) as opened:
        packed = sum(i.compress_type != zipfile.ZIP_STORED and not i.is_dir() for i in opened.infolist())
    if packed:
        what = f"{packed} of its files were compressed, and a radio skips those without a word; now none is"
        reasons.append(mended("compression-taken-out", what))
    inner = survey(root, rules.intake)
    return replace(inner, reasons=()), [*_named([*reasons, *inner.reasons], archive.name)]


def _root(into: Path, archive: Path) -> tuple[Path, bool]:
    """The folder with desc.txt, and whether it lay deeper in the archive than a radio looks."""
    with zipfile.ZipFile(archive) as opened:
        names = [info.filename.replace("\\", "/").removeprefix("./").lower() for info in opened.infolist()]
    if _desc_files(into):
        return into, not any(name in names for name in _DESC_NAMES)
    within = [folder for folder in sorted(into.iterdir()) if folder.is_dir() and _desc_files(folder)]
    return (within[0], True) if len(within) == 1 else (into, False)


def _desc_files(folder: Path) -> list[Path]:
    """The likeliest first."""
    found = [p for p in folder.iterdir() if p.name.lower() in _DESC_NAMES and p.is_file()]
    return sorted(found, key=lambda p: (p.name != "desc.txt", _DESC_NAMES.index(p.name.lower())))


def _named(reasons: Iterable[Reason], name: str) -> Iterator[Reason]:
    """Files of the archive told as such."""
    for reason in reasons:
        inside = reason.file is not None and reason.file != name
        yield reason.model_copy(update={"file": f"{name}/{reason.file}" if inside else name})


def _with_own_files(inner: Survey, found: Survey, bundle: str) -> Survey:
    """The drop's own files beside the archive's, above all its logo; where both have one, the drop's counts."""
    files = set(inner.files)
    taken = {path.name for path in inner.root.iterdir() if path.is_dir()}
    for name in found.files:
        if name in (bundle, FILE_NAME) or name.partition("/")[0] in taken:
            continue
        place = inner.root / name
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(found.root / name, place)
        files.add(name)
    return replace(inner, files=tuple(sorted(files)))


# -- desc.txt ---------------------------------------------------------------------------------------


def _desc(root: Path, bundle: str) -> tuple[Desc, list[Reason]]:
    """desc.txt with what spoils hand-made ones put right: a byte-order mark, CRLF, a last line left open."""
    near = _desc_files(root)
    if not near:
        what = "has no desc.txt at its root, so a radio shows nothing"
        raise Refused([refuse("desc-missing", what, "name the parts under [[part]]", file=bundle)])
    reasons: list[Reason] = []
    if near[0].name != "desc.txt":
        reasons.append(mended("desc-renamed", f"{near[0].name} was read as desc.txt", file=bundle))
    data, spoilt = _repaired(near[0].read_bytes())
    reasons += [mended("desc-mended", f"desc.txt {what}", file=bundle) for what in spoilt]
    read = parse(data)
    reasons += [
        note(fault.code, f"desc.txt, line {fault.line}: {fault.what}", fault.mend, file=bundle)
        for fault in read.faults
        if fault.code in _TOLD
    ]
    if read.desc is None or not read.desc.rows:
        what = "has a desc.txt that no radio can read: no size and rate, or no part rows"
        reasons.append(refuse("desc-unreadable", what, "name the parts under [[part]]", file=bundle))
        raise Refused(reasons)
    return read.desc, reasons


def _repaired(data: bytes) -> tuple[bytes, list[str]]:
    spoilt = []
    if data.startswith(_WIDE_MARKS):
        data = data.decode("utf-16", "replace").encode("utf-8")
        spoilt.append("was saved as UTF-16")
    if data.startswith(_MARK):
        data = data.removeprefix(_MARK)
        spoilt.append("began with a byte-order mark")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        spoilt.append("had line ends of another system")
    if data.rpartition(b"\n")[2].strip():
        data += b"\n"
        spoilt.append("had no end of line after its last row: a radio would have dropped it")
    return data, spoilt


def _size(desc: Desc, manifest: Manifest, rules: Rulebook, bundle: str) -> list[Reason]:
    sizes = {radio.panel.size for radio in _radios(manifest, rules)}
    if not sizes - {(desc.width, desc.height)}:
        return []
    what = f"was made for a panel of {desc.width} x {desc.height}; its pictures are fitted to this job's"
    return [mended("panel-fitted", what, file=bundle)]


def _radios(manifest: Manifest, rules: Rulebook) -> list[Radio]:
    return [radio for name in manifest.radio if isinstance(radio := rules.radio(name), Radio)]


def _trusted_plays(manifest: Manifest, rules: Rulebook) -> int:
    return min((radio.firmware.max_plays for radio in _radios(manifest, rules)), default=TRUSTED_PLAYS)


# -- rows -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A row, the plain folder it means, and that folder's files without their folder."""

    row: Row
    folder: str
    files: tuple[str, ...]


def _parts(desc: Desc, files: Sequence[str], trusted: int, bundle: str) -> tuple[tuple[Part, ...], list[Reason]]:
    """The rows in the artist's words, and what stands against them; the parts then mean nothing."""
    reached, findings = _reached(desc.rows)
    drawn = [_drawn(row, files) for row in reached]
    for part in drawn:
        findings += _row_findings(part, desc.fps, files)
    parts: list[Part] = []
    if not only(findings, Kind.REFUSE):
        parts = [part for one in drawn for part in _played(one, desc.fps, trusted)]
        findings += _counts(parts, reached, trusted)
    return tuple(parts), [finding.model_copy(update={"file": bundle}) for finding in findings]


def _reached(rows: Sequence[Row]) -> tuple[tuple[Row, ...], list[Reason]]:
    """The rows up to the first endless one; what is lost with the others."""
    endless = next((i for i, row in enumerate(rows) if row.count == 0), None)
    if endless is None:
        what = f"had no row that repeats until the radio has booted: the last picture of {rows[-1].path} now stands"
        return tuple(rows), [mended("hold-added", f"{what} until then")]
    left = rows[endless + 1 :]
    findings = []
    if never := ", ".join(row.path for row in left if row.type != "c"):
        what = f"rows after the endless {rows[endless].path} are never reached and were left out: {never}"
        findings.append(mended("rows-unreachable", what))
    if late := ", ".join(row.path for row in left if row.type == "c"):
        what = f"would have played after the radio had booted, before the home screen, and was left out: {late}"
        findings.append(mended("hold-taken-out", what))
    return tuple(rows[: endless + 1]), findings


def _drawn(row: Row, files: Sequence[str]) -> _Drawn:
    """Rows such as part0/ or .\\part0 never match a folder on the radio (AOSP); what they mean is plain."""
    folder = "/".join(step for step in row.path.replace("\\", "/").split("/") if step not in ("", "."))
    inside = (name.rpartition("/") for name in files)
    return _Drawn(row, folder, tuple(leaf for there, _, leaf in inside if there.lower() == folder.lower()))


def _row_findings(part: _Drawn, fps: int, files: Sequence[str]) -> Iterator[Reason]:
    row = part.row
    if row.path.startswith("/") or ".." in part.folder.split("/") or not part.folder:
        what = f"a row's path, {row.path}, leads out of the archive"
        yield refuse("row-outside", what, "write the folder's plain name, such as part0")
    elif not any(map(is_art, part.files)):
        yield refuse("part-empty", f"the row {row} names a folder without pictures", _nearest(files))
    elif part.folder != row.path:
        yield mended("row-path-mended", f"the row's path {row.path} was read as {part.folder}: a radio finds nothing")
    if row.count < 0 or row.pause < 0:
        what = f"the row {row} has a number below 0: no radio plays it as it was meant"
        yield refuse("row-number", what, "write 0 to repeat until booted, or the number of plays; then the pause")
    yield from _lost(part, fps)


def _made_whole(inner: Survey, desc: Desc, rules: Rulebook, crew: Crew) -> tuple[Reason, ...]:
    """Cropped frames are laid on their rows' colours again, so that they can be fitted to any panel."""
    drawn = [_drawn(row, inner.files) for row in _reached(desc.rows)[0]]
    there = {name.rpartition("/")[0].lower(): name.rpartition("/")[0] for name in inner.files}
    folders = uncrop.folders((there[part.folder.lower()], part.files, part.row.colour) for part in drawn)
    return uncrop.undone(inner.root, folders, (desc.width, desc.height), crew, rules.intake)


def _nearest(files: Sequence[str]) -> str:
    folders = sorted({name.rpartition("/")[0] or "no folder" for name in files if is_art(name)})
    return f"the archive's pictures lie in: {', '.join(folders[:6])}" if folders else "add the pictures"


def _lost(part: _Drawn, fps: int) -> Iterator[Reason]:
    row = part.row
    if "audio.wav" in part.files:
        yield note("sound-left-out", f"the sound of {row.path} was left out: radios on the dash do not play it")
    if row.type == "c":
        what = f"{row.path} would have kept the screen after the radio had booted; it now ends with the boot"
        yield mended("hold-taken-out", what)
    if row.pause > LONGEST_PAUSE_S * fps:
        what = f"the pause of {row.path}, {row.pause / fps:,.0f} s, was cut to {LONGEST_PAUSE_S:g} s"
        yield mended("pause-cut", what)


def _played(part: _Drawn, fps: int, trusted: int) -> list[Part]:
    """Pauses, which the format counts in frames, become seconds; many plays are spread over several parts."""
    row = part.row
    full, rest = divmod(min(row.count, trusted * (MOST_PARTS + 1)), trusted)
    plays = [*[trusted] * full, *[rest] * (rest > 0)] if row.count else ["until-booted"]
    pause = min(row.pause / fps, LONGEST_PAUSE_S)
    return [Part.model_validate({"art": f"{escape(part.folder)}/*", "plays": n, "pause": pause}) for n in plays]


def _counts(parts: Sequence[Part], rows: Sequence[Row], trusted: int) -> list[Reason]:
    many = [row for row in rows if row.count > trusted]
    said = ", ".join(f"{row.path} {row.count} times" for row in many)
    if len(parts) > MOST_PARTS:
        what = f"plays {said or f'{len(rows)} parts'}: more than can be made, {MOST_PARTS} parts of {trusted} plays"
        return [refuse("plays-not-trusted", what, "write a lower count, or 0 to repeat until booted")]
    if many:
        what = f"plays {said}; radios are trusted with {trusted} plays, so the part stands in it more than once"
        return [mended("plays-spread", what)]
    return []
