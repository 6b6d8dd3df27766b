"""Folders of stock files: their names, and when what lies there counts."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from keyturn.outbox import restore_folders
from keyturn.outbox.restore_folders import folder_name, folders, kept, read, same_files, target_of
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop.folders import Shop
from keyturn.shop.records import FileRecord, RestoreRecord

TARGET = "fern-hollow/restore-tiny"
STOCK = b"as it came"
FILE = FileRecord(path="logo.png", size=len(STOCK), sha256="")


def laid(shop: Shop, target: str = TARGET) -> Path:
    folder = shop.outbox / target
    (folder / "usb").mkdir(parents=True)
    (folder / "usb" / "logo.png").write_bytes(STOCK)
    (folder / restore_folders.RECORD).write_text(record().model_dump_json())
    return folder


def record(**more: object) -> RestoreRecord:
    known = {"keyturn": "0", "customer": "Fern Hollow", "radio": "tiny", "title": "Tiny", "drop": "stock", "claim": "c"}
    file = FILE.model_copy(update={"sha256": hashlib.sha256(STOCK).hexdigest()})
    return RestoreRecord.model_validate({**known, "kept_at": "2026-03-01T09:30:00+00:00", "files": [file], **more})


@pytest.mark.parametrize("radio", ["tiny", "dash-1024x600", "dash-r2", "van-r1"])
def test_a_folder_never_looks_like_a_revision(radio: str) -> None:
    assert folder_name(radio).startswith(f"restore-{radio}") and job_and_number(folder_name(radio)) is None


def test_it_lies_in_the_customer_s_folder(shop: Shop) -> None:
    assert target_of("Fern Hollow", "tiny") == TARGET
    assert kept(shop.outbox, "Fern Hollow", ["tiny", "wide"]) == {} and list(folders(shop.outbox)) == []
    folder = laid(shop)
    assert kept(shop.outbox, "Fern Hollow", ["tiny", "wide"]) == {"tiny": TARGET}
    assert kept(shop.outbox, "Lantern Row", ["tiny"]) == {} and list(folders(shop.outbox)) == [folder]


def test_links_and_spoilt_records_do_not_count(shop: Shop, tmp_path: Path) -> None:
    folder = laid(shop)
    (shop.outbox / "linked").symlink_to(folder.parent)
    (folder.parent / "restore-wide").symlink_to(folder)
    assert read(shop.outbox / "linked" / "restore-tiny") is None and read(folder.parent / "restore-wide") is None
    assert list(folders(shop.outbox)) == [folder]
    (folder / restore_folders.RECORD).write_text("{")
    assert read(folder) is None


def test_files_are_the_same_while_they_lie_there_as_they_were_kept(shop: Shop) -> None:
    folder = laid(shop)
    assert same_files(folder, record(), record(claim="another", drop="again"))
    assert not same_files(folder, record(), record(files=[]))
    (folder / "usb" / "logo.png").write_bytes(b"painted over")
    assert not same_files(folder, record(), record())
    (folder / "usb" / "logo.png").unlink()
    assert not same_files(folder, record(), record())
