"""`keyturn labels` writes a page to print, and `keyturn status` understands the codes on it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.outbox import published_digests
from keyturn.pipeline import Bench
from keyturn.shop.folders import Shop
from samples import Drop, Run

Said = pytest.CaptureFixture[str]
FOR_VANS = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\nvehicles = ["Van 1", "Van 2"]\n'


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def made(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """A job "van" for two vehicles in the shop's outbox: its revision."""
    folder = make_by_hand.make(drop(frames=2, manifest=FOR_VANS), shop.outbox, bench).folder
    assert folder is not None
    published_digests.record(shop.published, f"{folder.parent.name}/{folder.name}", folder)
    return folder


def codes(page: Path) -> list[str]:
    return re.findall(r"<title>(keyturn:.*?)</title>", page.read_text(encoding="utf-8"))


def test_the_page_lies_in_the_current_folder_and_is_named(
    run: Run, shop: Shop, made: Path, here: Path, capsys: Said
) -> None:
    assert run("labels", "van", "--root", shop.root) == 0
    page = here / "van-r1-labels.html"
    assert page.as_uri() in capsys.readouterr().err
    digest = published_digests.digest_of(made) or ""
    assert codes(page) == [f"keyturn:van-r1:{digest[:16]}:1", f"keyturn:van-r1:{digest[:16]}:2"]
    assert "size: 210.000mm 297.000mm" in page.read_text(encoding="utf-8")


def test_another_sheet_other_labels_and_another_place(run: Run, shop: Shop, made: Path, here: Path) -> None:
    told = ("--sheet", "letter", "--first", "30", "--vehicle", "van 2", "--out", "two.html", "--root", shop.root)
    assert run("labels", "van", *told) == 0
    assert [code[-2:] for code in codes(here / "two.html")] == [":2"]
    assert "size: 215.900mm 279.400mm" in (here / "two.html").read_text(encoding="utf-8")
    (shop.root / "keyturn.toml").write_text('language = "ar"\n', encoding="utf-8")
    assert run("labels", made, "--out", "ar.html") == 0, "the shop is found by the revision's place"
    assert 'dir="rtl"' in (here / "ar.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (("--sheet", "a3"), "one of: a4-8 (2 x 4)"),
        (("--first", "22"), "that sheet has 21 labels"),
        (("--vehicle", "Van 3"), "one of: Van 1, Van 2"),
        (("--radio", "wide"), "one of: tiny"),
        (("--out", "labels.pdf"), "let --out end in .html"),
    ],
)
def test_what_cannot_be_is_wrong_use(
    run: Run, shop: Shop, made: Path, here: Path, wrong: tuple[str, str], words: str, capsys: Said
) -> None:
    assert run("labels", "van", *wrong, "--root", shop.root) == 2
    assert words in " ".join(capsys.readouterr().err.split()) and not list(here.iterdir())


def test_status_understands_the_code_of_a_label(run: Run, shop: Shop, made: Path, here: Path, capsys: Said) -> None:
    at = ("--root", shop.root)
    assert run("labels", "van", *at) == run("fitted", "van", "--vehicle", "Van 1", *at) == 0
    _, second = codes(here / "van-r1-labels.html")
    capsys.readouterr()
    assert run("status", second.upper(), *at) == 0
    said = capsys.readouterr().out
    assert "The label is of the newest revision, 1, Van 2." in said and "Van 1: fitted, since" in said
    assert "To be fitted, since" in said and "1 of 2 fitted; left, still to copy: Van 2" in said
    assert run("status", second, "--json", *at) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["label"] == {"revision": 1, "older": False, "vehicle": "Van 2"} and told["job"]["place"] == "fit"
