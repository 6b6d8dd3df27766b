"""A radio's stock files: which files of a drop they are, and a copy of them for the stick, byte for byte."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from keyturn.inbox.survey import Survey
from keyturn.inbox.unpack import unpack
from keyturn.manifest.manifest_file import is_manifest_name
from keyturn.normalize.logo_names import may_be_logos
from keyturn.shop import durable_files
from keyturn.shop.radio_profile import LOGO_ENDINGS, Radio
from keyturn.shop.reasons import Kind, Reason, Refused, note, only, refuse
from keyturn.shop.records import FileRecord
from keyturn.shop.rulebook import Rulebook

_TEXTS = (".txt", ".md", ".pdf", ".rtf", ".html")
_BROKEN = frozenset({"zip-broken", "zip-bomb", "zip-empty", "zip-locked", "too-many-files", "file-too-large"})
"""What is wrong with a zip as a whole, by the reasons' codes. How an archive is laid out is its radio's own affair."""


@dataclass(frozen=True, slots=True)
class StockFiles:
    """The drop's stock files by their paths on the stick, and what is said of its other files."""

    by_path: dict[str, str]
    reasons: tuple[Reason, ...]


def stock_files(found: Survey, radio: Radio) -> StockFiles:
    """Return which of the drop's files are the radio's animation and logo. Raise `Refused` where that is unclear.

    One that has its place on the stick is that; else bootanimation.zip or the only zip, and the file whose name says
    logo or the only one left.
    """
    files = [name for name in found.files if not is_manifest_name(PurePosixPath(name).name)]
    animation = _animation(files, radio)
    logo = _logo([name for name in files if name != animation], radio)
    if animation is None and logo is None:
        what = "the drop holds neither a stock animation nor a stock logo"
        mend = f"put {radio.stick.animation} and {radio.stick.logo} beside job.toml, as the radio came with them"
        raise Refused([refuse("stock-missing", what, mend)])
    by_path = {radio.stick.animation: animation} if animation else {}
    if logo:
        by_path[_logo_path(logo, radio)] = logo
    return StockFiles(by_path, tuple(_said(files, animation, logo, radio)))


def _animation(files: Sequence[str], radio: Radio) -> str | None:
    if radio.stick.animation in files:
        return radio.stick.animation
    zips = [name for name in files if name.lower().endswith(".zip")]
    called = [name for name in zips if PurePosixPath(name).name.lower() == "bootanimation.zip"]
    return _only(called or zips, "animation", radio.stick.animation)


def _logo(files: Sequence[str], radio: Radio) -> str | None:
    if radio.stick.logo in files:
        return radio.stick.logo
    others = [name for name in files if not name.lower().endswith((".zip", *_TEXTS))]
    return _only(may_be_logos(others) or others, "logo", radio.stick.logo)


def _only(names: Sequence[str], kind: str, called: str) -> str | None:
    if len(names) > 1:
        what = f"may be the stock {kind}, and so may {', '.join(names[1:4])}"
        raise Refused([refuse("stock-several", what, f"keep one, or call it {called}", file=names[0])])
    return names[0] if names else None


def _logo_path(logo: str, radio: Radio) -> str:
    """Return the logo's path on the stick: the profile's, with the file's own ending where that is of another kind."""
    ending, wanted = PurePosixPath(logo).suffix.lower(), PurePosixPath(radio.stick.logo)
    kinds = [set(ends) for ends in LOGO_ENDINGS.values() if ending in ends]
    if kinds and wanted.suffix.lower() not in kinds[0]:
        return str(wanted.with_suffix(ending))
    return radio.stick.logo


def _said(files: Sequence[str], animation: str | None, logo: str | None, radio: Radio) -> list[Reason]:
    said = [
        note("stock-left-out", "is no file that the radio loads: it stays in the archive", file=name)
        for name in files
        if name not in (animation, logo)
    ]
    if animation is None:
        mend = f"put {radio.stick.animation} into the drop too, if the radio has it"
        said.append(note("stock-part-missing", "there is no stock animation among the files", mend))
    if logo is None:
        mend = f"put {radio.stick.logo} into the drop too, if the radio has it"
        said.append(note("stock-part-missing", "there is no stock logo among the files", mend))
    if logo and _logo_path(logo, radio) != radio.stick.logo:
        what = f"is of another kind than {radio.stick.logo}, which the profile of {radio.name} names"
        mend = "look what the radio calls it, and correct [stick] and [logo] in the profile"
        said.append(note("stock-logo-kind", what, mend, file=logo))
    return said


def check_whole(found: Survey, stock: StockFiles, scratch: Path, rules: Rulebook) -> None:
    """Raise `Refused` where a stock file is empty, or the animation is no whole zip: it would be no way back."""
    faults = [
        refuse("picture-empty", "is empty", "copy it again", file=name)
        for name in stock.by_path.values()
        if (found.root / name).stat().st_size == 0
    ]
    for name in stock.by_path.values():
        if name.lower().endswith(".zip") and not faults:
            inside = scratch / "stock"
            inside.mkdir()
            faults += _zip_faults(found.root / name, inside, rules, name)
    if faults:
        raise Refused(faults)


def _zip_faults(path: Path, into: Path, rules: Rulebook, name: str) -> list[Reason]:
    try:
        unpack(path, into, rules.intake, name=name, fat=rules.usb.fat)
    except Refused as refused:
        return [reason for reason in only(refused.reasons, Kind.REFUSE) if reason.code in _BROKEN]
    return []


def copy_stock(found: Survey, stock: StockFiles, folder: Path) -> tuple[FileRecord, ...]:
    """Copy the stock files into the new `folder`, and return their records sorted by path, taken from the copies."""
    folder.mkdir()
    for path, name in stock.by_path.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        durable_files.copy_tree(found.root / name, folder / path)
    return tuple(
        FileRecord(path=path, size=(folder / path).stat().st_size, sha256=durable_files.sha256(folder / path))
        for path in sorted(stock.by_path)
    )
