"""Which files of a drop are the stock files, and that they are copied as they are."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.inbox.survey import survey
from keyturn.package.stock_files import StockFiles, check_whole, copy_stock, stock_files
from keyturn.shop import durable_files, rulebook
from keyturn.shop.reasons import Refused
from samples import with_tables
from stock_samples import STOCKS, encoded, noise

RULES = rulebook.load()
RADIO = RULES.radios["tall-768x1024"]


def drop(folder: Path, *names: str) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_text("stock = true\n")
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        if name.endswith(".zip"):
            STOCKS["plain"].write(folder / name)
        else:
            (folder / name).write_bytes(encoded(noise()))
    return folder


def seen(folder: Path, radio: object = RADIO) -> StockFiles:
    return stock_files(survey(folder, RULES.intake), radio)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("names", "wanted"),
    [
        (["bootanimation.zip", "logo.png"], {"bootanimation.zip": "bootanimation.zip", "logo.png": "logo.png"}),
        (["stock.zip", "start.png"], {"bootanimation.zip": "stock.zip", "logo.png": "start.png"}),
        (["BOOTANIMATION.ZIP", "other.zip"], {"bootanimation.zip": "BOOTANIMATION.ZIP"}),
        (["boot logo.png", "dash.png"], {"logo.png": "boot logo.png"}),
        (["logo.png", "logo2.png"], {"logo.png": "logo.png"}),
        (["a.zip", "stock-logo.bmp"], {"bootanimation.zip": "a.zip", "logo.bmp": "stock-logo.bmp"}),
        (["a.zip", "logo.bin"], {"bootanimation.zip": "a.zip", "logo.png": "logo.bin"}),
    ],
)
def test_stock_files_are_known_by_their_place_their_name_or_as_the_only_one(
    tmp_path: Path, names: list[str], wanted: dict[str, str]
) -> None:
    assert seen(drop(tmp_path / "drop", *names)).by_path == wanted


def test_a_place_in_a_folder_of_the_stick_is_kept(tmp_path: Path) -> None:
    radio = with_tables(RADIO, stick={"animation": "media/bootanimation.zip", "logo": "media/logo.png"})
    found = seen(drop(tmp_path / "drop", "media/bootanimation.zip", "start.png"), radio)
    assert found.by_path == {"media/bootanimation.zip": "media/bootanimation.zip", "media/logo.png": "start.png"}


def test_other_files_and_missing_ones_are_said(tmp_path: Path) -> None:
    folder = drop(tmp_path / "drop", "bootanimation.zip", "logo.bmp")
    (folder / "notes.txt").write_text("taken out in spring")
    said = {(reason.code, reason.file) for reason in seen(folder).reasons}
    assert said == {("stock-left-out", "notes.txt"), ("stock-logo-kind", "logo.bmp")}
    assert [reason.code for reason in seen(drop(tmp_path / "half", "logo.png")).reasons] == ["stock-part-missing"]


@pytest.mark.parametrize(
    ("names", "code"),
    [([], "stock-missing"), (["a.zip", "b.zip"], "stock-several"), (["a.png", "b.png"], "stock-several")],
)
def test_what_is_unclear_is_asked(tmp_path: Path, names: list[str], code: str) -> None:
    with pytest.raises(Refused) as caught:
        seen(drop(tmp_path / "drop", *names))
    assert [reason.code for reason in caught.value.reasons] == [code]


def checked(folder: Path, scratch: Path) -> list[str]:
    scratch.mkdir()
    found = survey(folder, RULES.intake)
    try:
        check_whole(found, stock_files(found, RADIO), scratch, RULES)
    except Refused as refused:
        return [reason.code for reason in refused.reasons]
    return []


def test_a_file_that_is_not_whole_is_no_way_back(tmp_path: Path) -> None:
    folder = drop(tmp_path / "drop", "bootanimation.zip", "logo.png")
    assert checked(folder, tmp_path / "one") == []
    whole = (folder / "bootanimation.zip").read_bytes()
    (folder / "bootanimation.zip").write_bytes(whole[: len(whole) // 2])
    assert checked(folder, tmp_path / "two") == ["zip-broken"]
    (folder / "logo.png").write_bytes(b"")
    assert checked(folder, tmp_path / "three") == ["picture-empty"]


def test_files_are_copied_byte_for_byte(tmp_path: Path) -> None:
    folder = drop(tmp_path / "drop", "stock.zip", "logo.png")
    found = survey(folder, RULES.intake)
    radio = with_tables(RADIO, stick={"animation": "media/bootanimation.zip"})
    files = copy_stock(found, stock_files(found, radio), tmp_path / "usb")
    assert [file.path for file in files] == ["logo.png", "media/bootanimation.zip"]
    assert (tmp_path / "usb/media/bootanimation.zip").read_bytes() == (folder / "stock.zip").read_bytes()
    assert files[0].sha256 == durable_files.sha256(folder / "logo.png")
