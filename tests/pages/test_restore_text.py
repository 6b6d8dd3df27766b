"""INSTALL.txt of stock files: cautions first, then what is on the stick and how it goes back."""

from __future__ import annotations

from keyturn.pages.restore_text import restore_text
from keyturn.shop import rulebook
from keyturn.shop.papers import Letterhead
from keyturn.shop.records import FileRecord, RestoreRecord

RULES = rulebook.load()
RADIO = RULES.radios["tall-768x1024"]
RECORD = RestoreRecord(
    keyturn="0",
    customer="Fern Hollow Mobile Library",
    radio=RADIO.name,
    title=RADIO.title,
    drop="stock",
    claim="c",
    kept_at="2026-03-01T09:30:00+00:00",
    files=(FileRecord(path="bootanimation.zip", size=2_500_000, sha256="ab12" * 16),),
)


def text(letterhead: Letterhead | None = None) -> str:
    return restore_text(RECORD, RADIO, RULES.safety.cautions.card, letterhead)


def test_it_says_whose_files_they_are_what_to_mind_and_how_they_go_back() -> None:
    said = " ".join(text().split())
    for words in (
        "Back to stock, for Fern Hollow Mobile Library: the files that the radio came with",
        "Tall panel, 768 x 1024 (tall-768x1024)",
        "Kept since 1 March 2026, unchanged.",
        "bootanimation.zip, 2.4 MiB, SHA-256 begins ab12ab12ab12",
        "Copy the contents of usb/, and nothing else",
    ):
        assert words in said, words
    first = RULES.safety.cautions.card[0].split(",")[0]
    assert said.index(first) < said.index("LOAD"), "cautions come before the steps"
    assert text().encode("ascii")


def test_it_begins_with_the_shop_and_is_in_the_shop_s_language() -> None:
    assert text(Letterhead(name="Lantern Row Radio")).startswith("Lantern Row Radio")
    assert "VOR DEM BEGINN" in text(Letterhead(language="de")) or text(Letterhead(language="de")) != text()
