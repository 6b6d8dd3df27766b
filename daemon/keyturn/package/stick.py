"""The folder whose contents go on the stick."""

from __future__ import annotations

import shutil
from pathlib import Path

from keyturn.shop import durable_files, rulebook
from keyturn.shop.name_rules import Fat
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import RadioFault
from keyturn.shop.records import FileRecord
from keyturn.shop.stick_names import INSTALL, stick_faults


def write_stick(
    folder: Path,
    radio: Radio,
    animation: Path,
    logo: bytes,
    install_text: str | None,
    *,
    fat: Fat | None = None,
    zip_sha256: str | None = None,
) -> tuple[FileRecord, ...]:
    """Fill the empty `folder` with what goes on the stick. Return its files sorted by path; they are synced to disk.

    The finished zip at `animation` is moved in; `zip_sha256` is its digest, where it is known. INSTALL.txt is left out
    for radios that mind files that are not theirs. `fat` defaults to the rules that ship. Raise `RadioFault` where the
    radio's profile names files that a stick cannot hold.
    """
    faults = stick_faults(radio, fat or rulebook.load().usb.fat)
    if faults:
        raise RadioFault(f"a stick cannot hold the files of {radio.name}: {'; '.join(faults)}", "mend its [stick]")
    texts = {radio.stick.logo: logo}
    if install_text is not None and radio.stick.extra_files:
        texts[INSTALL] = install_text.encode("utf-8")
    names = [radio.stick.animation, *texts]
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
    shutil.move(animation, folder / radio.stick.animation)
    for name, data in texts.items():
        (folder / name).write_bytes(data)
    durable_files.fsync_tree(folder)
    known = {radio.stick.animation: zip_sha256}
    return tuple(_record(folder, name, known.get(name)) for name in sorted(names))


def _record(folder: Path, name: str, sha256: str | None) -> FileRecord:
    path = folder / name
    return FileRecord(path=name, size=path.stat().st_size, sha256=sha256 or durable_files.sha256(path))
