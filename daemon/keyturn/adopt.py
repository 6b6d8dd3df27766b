"""A drop that holds a ready-made bootanimation.zip: taken apart, mended, and made anew for its radio.

What the archive says (rows, rate, pauses) becomes the manifest where the artist's own says nothing; the
frames then go through the line like any other art.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from keyturn.intake.survey import Survey, survey
from keyturn.intake.unzip import unpack
from keyturn.manifest import FILE_NAME, Manifest, Motion, Part
from keyturn.reasons import Reason, Refused, mended, note, refuse
from keyturn.rulebook import Rulebook
from keyturn.unit.desc import Desc, Row, parse

BUNDLE = "bootanimation.zip"
_MARK = b"\xef\xbb\xbf"


def holds_bundle(found: Survey, manifest: Manifest) -> bool:
    """Is there a bootanimation.zip, and does the manifest leave the parts to it?"""
    return BUNDLE in found.files and not manifest.part


def adopt(
    found: Survey, manifest: Manifest, scratch: Path, rules: Rulebook
) -> tuple[Survey, Manifest, tuple[Reason, ...]]:
    """The drop with its bundle unpacked, and a manifest with the bundle's parts. Raises `Refused`."""
    root = scratch / "adopted"
    root.mkdir()
    reasons = [note("adopted", "was taken apart and made anew", file=BUNDLE)]
    reasons += unpack(found.root / BUNDLE, root, rules.intake, name=BUNDLE, fat=rules.usb.fat)
    desc, mends = _desc(root)
    reasons += mends
    for name in found.files:
        if name not in (BUNDLE, FILE_NAME) and "/" not in name and not (root / name).exists():
            shutil.copyfile(found.root / name, root / name)
    parts = _parts(desc, root, reasons)
    motion = manifest.motion
    if "fps" not in motion.model_fields_set:
        motion = Motion.model_validate(motion.model_dump() | {"fps": min(desc.fps, 60)})
    inner = survey(root, rules.intake)
    adopted = manifest.model_copy(update={"part": parts, "motion": motion})
    return inner, adopted, tuple(dict.fromkeys([*reasons, *inner.reasons]))


def _desc(root: Path) -> tuple[Desc, list[Reason]]:
    """desc.txt with what spoils hand-made ones put right: a byte-order mark, CRLF, a last line left open."""
    path = root / "desc.txt"
    reasons: list[Reason] = []
    if not path.is_file():
        near = [p for p in sorted(root.iterdir()) if p.name.lower() in ("desc.txt.txt", "desc.txt", "desc")]
        if not near:
            what = "has no desc.txt at its root, so a radio shows nothing"
            raise Refused([refuse("desc-missing", what, "name the parts under [[part]]", file=BUNDLE)])
        reasons.append(mended("desc-renamed", f"{near[0].name} was read as desc.txt", file=BUNDLE))
        path = near[0]
    data, spoilt = _repaired(path.read_bytes())
    reasons += [mended("desc-mended", f"desc.txt {what}", file=BUNDLE) for what in spoilt]
    desc = parse(data).desc
    if desc is None or not desc.rows:
        what = "has a desc.txt that no radio can read: no size and rate, or no part rows"
        raise Refused([refuse("desc-unreadable", what, "name the parts under [[part]]", file=BUNDLE)])
    return desc, reasons


def _repaired(data: bytes) -> tuple[bytes, list[str]]:
    spoilt = []
    if data.startswith(_MARK):
        data = data.removeprefix(_MARK)
        spoilt.append("began with a byte-order mark")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        spoilt.append("had line ends of another system")
    if not data.endswith(b"\n"):
        data += b"\n"
        spoilt.append("had no end of line after its last row: a radio would have dropped it")
    return data, spoilt


def _parts(desc: Desc, root: Path, reasons: list[Reason]) -> tuple[Part, ...]:
    rows = list(desc.rows)
    endless = next((i for i, row in enumerate(rows) if row.count == 0), len(rows))
    if endless < len(rows) - 1:
        gone = ", ".join(row.path for row in rows[endless + 1 :])
        what = f"rows after the endless {rows[endless].path} are never reached and were left out: {gone}"
        reasons.append(mended("rows-unreachable", what, file=BUNDLE))
    return tuple(_part(row, desc.fps, root, reasons) for row in rows[: endless + 1])


def _part(row: Row, fps: int, root: Path, reasons: list[Reason]) -> Part:
    """The row in the artist's words; pauses, which the format counts in frames, become seconds."""
    if (root / row.path / "trim.txt").is_file():
        what = f"{row.path} holds frames cut to size for trim.txt, which cannot be fitted to another panel"
        reasons.append(refuse("frames-trimmed", what, "send the whole pictures", file=BUNDLE))
    if row.type == "c":
        what = f"{row.path} would have kept the screen after the radio had booted; it now ends with the boot"
        reasons.append(mended("hold-taken-out", what, file=BUNDLE))
    return Part(
        art=f"{row.path}/*",
        plays=row.count if row.count > 0 else "until-booted",
        pause=min(row.pause / fps, 60.0) if fps else 0.0,
    )
