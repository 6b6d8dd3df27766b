"""The fitter's card and INSTALL.txt."""

from __future__ import annotations

import re
from types import ModuleType

import pytest

from keyturn.pages.card import card, cards, install_text
from keyturn.pages.job_anchor import job_anchor
from keyturn.shop import rulebook
from keyturn.shop.papers import Letterhead
from page_text import text_of

PROFILES = rulebook.load().radios
TALL = PROFILES["tall-768x1024"]


def test_the_card_has_cautions_before_steps_and_all_steps_in_order(by_hand: ModuleType) -> None:
    text = text_of(card(by_hand.job(), by_hand.radio(), TALL, by_hand.CAUTIONS))
    load = [step.replace("{folder}", "usb/") for step in TALL.steps.load]
    wanted = [*by_hand.CAUTIONS, *load, *TALL.steps.confirm, *TALL.steps.restore]
    places = [text.index(words) for words in wanted]
    assert places == sorted(places)
    assert "bootanimation.zip9.0 MiB (9,437,184 bytes), SHA-256 begins abababababab" in text
    assert "Home screen, 16.0 s to 21.0 s after the first frame" in text


def test_a_job_for_several_radios_has_a_section_for_each(by_hand: ModuleType) -> None:
    job = by_hand.job(by_hand.radio(folder="usb-tall"), by_hand.radio("wide-1024x600", (1024, 600), folder="usb-wide"))
    page = cards(job, PROFILES, by_hand.CAUTIONS)
    assert page.count('<section class="radio"') == 2
    assert {"usb-tall/", "usb-wide/"} <= set(re.findall(r"usb-\w+/", page))


def test_each_vehicle_has_a_section_with_its_name_and_the_cautions(by_hand: ModuleType) -> None:
    vans = ("Van 1", "Van <2>")
    page = cards(by_hand.job(vehicles=vans), PROFILES, by_hand.CAUTIONS)
    assert [text_of(title) for title in re.findall(r'<h2 id="radio\d+-title">(.*?)</h2>', page)] == list(vans)
    text = text_of(page)
    assert text.count(by_hand.CAUTIONS[0]) == 2 and "van-two, revision 1, for Fern Hollow Mobile Library" in text
    assert [text_of(link) for link in re.findall(r'href="#radio\d+">(.*?)</a>', page)] == [
        f"{van}, Tall panel, 768 x 1024" for van in vans
    ]
    both = by_hand.radio(), by_hand.radio("wide-1024x600", (1024, 600))
    assert cards(by_hand.job(*both, vehicles=vans), PROFILES, ()).count('<section class="radio"') == 4


@pytest.mark.parametrize("name", sorted(PROFILES))
def test_every_radios_steps_name_the_folder_to_copy(by_hand: ModuleType, name: str) -> None:
    """README: "copy its contents, and nothing else, to the root of an empty FAT32 stick"."""
    made = by_hand.radio(name, folder=f"usb-{name}")
    for text in (
        text_of(cards(by_hand.job(made), PROFILES, ())),
        " ".join(install_text(by_hand.job(), made, PROFILES[name], ()).split()),
    ):
        assert f"Copy the contents of usb-{name}/, and nothing else, to the root of an empty FAT32 stick" in text
        assert "this folder" not in text and "{folder}" not in text


def test_the_card_links_to_its_job_on_the_sheet(by_hand: ModuleType) -> None:
    page = cards(by_hand.job(job="van two"), PROFILES, ())
    assert f'href="../proof.html#{job_anchor("van two")}"' in page
    assert f'id="{job_anchor("van two")}"' in by_hand.sheet_of(by_hand.job(job="van two"))


def test_card_and_install_text_bear_the_shops_name(by_hand: ModuleType) -> None:
    page = cards(by_hand.job(), PROFILES, (), letterhead=by_hand.LETTERHEAD)
    for fact in by_hand.LETTERHEAD_FACTS:
        assert fact in page
    assert "<address" not in cards(by_hand.job(), PROFILES, ())
    text = install_text(by_hand.job(), by_hand.radio(), TALL, (), by_hand.LETTERHEAD)
    assert text.startswith("Lantern <Row>, 2 Muhlgasse, 555-0100, shop@example.org,\r\nhttps://example.org\r\n")
    assert not install_text(by_hand.job(), by_hand.radio(), TALL, ()).startswith("\r\n")


def stills(page: str) -> dict[str, str]:
    """Return the pictures by their captions."""
    return {alt: src for src, alt in re.findall(r'<img class="still" src="(data:[^"]+)" alt="([^"]+)"', page)}


def test_the_card_shows_the_logo_and_the_picture_that_stands_last(by_hand: ModuleType) -> None:
    job = by_hand.job()
    shown = stills(cards(job, PROFILES, (), by_hand.proof(job)))
    assert shown == {"Boot logo": by_hand.picture(0), "Last picture": by_hand.picture(47)}


def test_where_it_ends_as_it_began_the_card_shows_the_middle(by_hand: ModuleType) -> None:
    job = by_hand.job(by_hand.radio(parts=(by_hand.part("lamps", 48),)))
    order = (*range(47), 0)
    proof = by_hand.ProofRecord(radios=(by_hand.radio_proof(job.radios[0], order=(order,)),))
    assert stills(cards(job, PROFILES, (), proof)) == {"Boot logo": by_hand.picture(0), "Half-way": by_hand.picture(24)}


def test_a_card_without_a_proof_has_no_pictures(by_hand: ModuleType) -> None:
    assert stills(cards(by_hand.job(), PROFILES, ())) == {}


def test_install_txt_can_be_read_anywhere(by_hand: ModuleType) -> None:
    """ASCII (ISO 646) with CRLF, lines of at most 72 columns."""
    job = by_hand.job(customer="B\u00fccherbus \u56f3\u66f8", job=by_hand.HOSTILE)
    text = install_text(job, by_hand.radio(), TALL, by_hand.CAUTIONS)
    text.encode("ascii")
    lines = text.split("\r\n")
    assert lines.pop() == ""
    assert all("\n" not in line and "\r" not in line and len(line) <= 72 for line in lines)
    assert "for Bucherbus ??" in text.replace("\r\n", " ")
    for number, step in enumerate((s.replace("{folder}", "usb/") for s in TALL.steps.load), start=1):
        assert f"{number}. {step[:30]}" in text


def test_install_txt_is_written_before_the_files_are_and_names_them_all_the_same(by_hand: ModuleType) -> None:
    text = install_text(by_hand.job(), by_hand.radio(files=()), TALL, by_hand.CAUTIONS)
    assert "- bootanimation.zip, 9.0 MiB\r\n- logo.png\r\n" in text


def test_a_card_needs_the_profile_of_each_radio(by_hand: ModuleType) -> None:
    with pytest.raises(KeyError, match="unheard-of"):
        cards(by_hand.job(by_hand.radio("unheard-of")), PROFILES, ())


def test_install_txt_says_when_the_home_screen_comes_later(by_hand: ModuleType) -> None:
    delayed = by_hand.radio(timeline=by_hand.timeline(delay_s=1.2))
    assert "up to 1.2 s later than before." in install_text(by_hand.job(), delayed, TALL, ())
    assert "later than before" not in install_text(by_hand.job(), by_hand.radio(), TALL, ())


GERMAN = Letterhead("Lantern Row Radio", language="de")


def test_the_card_is_in_the_shops_language_and_files_keep_their_names(by_hand: ModuleType) -> None:
    page = cards(by_hand.job(), PROFILES, rulebook.load().safety.cautions.card, letterhead=GERMAN)
    text = text_of(page)
    assert '<html lang="de">' in page
    assert "Kopieren Sie den Inhalt von usb/, und nichts anderes" in text
    assert "bootanimation.zip9,0 MiB (9.437.184 Byte)" in text  # Unicode CLDR: German decimal and group signs
    assert "16,0 s bis 21,0 s nach dem ersten Bild" in text


def test_the_language_of_job_toml_is_the_customers_and_not_the_fitters(by_hand: ModuleType) -> None:
    job = by_hand.job().model_copy(update={"language": "pl"})
    assert '<html lang="de">' in cards(job, PROFILES, (), letterhead=GERMAN)
    assert "Startbildschirm" in install_text(job, by_hand.radio(), TALL, (), GERMAN)


def test_a_shops_own_caution_stays_as_it_wrote_it(by_hand: ModuleType) -> None:
    own = "100 % of the keys hang by the door."
    assert own in text_of(cards(by_hand.job(), PROFILES, (own,), letterhead=GERMAN))
    assert "hang by the door" in install_text(by_hand.job(), by_hand.radio(), TALL, (own,), GERMAN)


def test_install_txt_in_other_languages_is_utf_8_with_its_mark(by_hand: ModuleType) -> None:
    job = by_hand.job(job=by_hand.HOSTILE)
    text = install_text(job, by_hand.radio(), TALL, rulebook.load().safety.cautions.card, Letterhead(language="ar"))
    # RFC 3629, 6: U+FEFF at the start of a text as a signature
    assert text.encode("utf-8").startswith(b"\xef\xbb\xbf")
    lines = text[1:].split("\r\n")
    assert lines.pop() == ""
    assert all("\n" not in line and "\r" not in line and "\u202e" not in line and len(line) <= 72 for line in lines)
    assert "\u2068usb/\u2069" in text  # Unicode Bidirectional Algorithm (UAX 9), 2.4: isolates


def test_where_the_stock_files_are_kept_comes_before_the_other_ways_back(by_hand: ModuleType) -> None:
    job = by_hand.job(restores={TALL.name: "fern-hollow/restore-tall-768x1024"})
    where = "keyturn copy fern-hollow/restore-tall-768x1024"
    for text in (text_of(card(job, by_hand.radio(), TALL, ())), install_text(job, by_hand.radio(), TALL, ())):
        said = " ".join(text.split())
        assert said.index(where) < said.index(TALL.steps.restore[0])
    assert where not in install_text(by_hand.job(), by_hand.radio(), TALL, ())
