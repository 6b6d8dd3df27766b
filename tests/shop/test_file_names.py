"""Names: junk, half-copied files, what FAT can hold, and folder names made from any text."""

import os
import random
import re
import shutil
import subprocess
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.shop import rulebook
from keyturn.shop.file_names import (
    case_twins,
    fat_faults,
    is_in_cloud,
    is_junk,
    looks_half_copied,
    safe_name,
    without_ending,
)

BOOK = rulebook.load()
NAMES = BOOK.intake.names
FAT = BOOK.usb.fat


# Names that desktop systems, browsers and sync programs leave: common practice, no source.
@pytest.mark.parametrize(
    "name", ["__MACOSX", "._0001.png", ".DS_Store", "Thumbs.db", "THUMBS.DB", "Desktop.ini", "a~", "~$wishes.docx"]
)
def test_litter_is_known_whatever_its_case(name: str):
    assert is_junk(name, NAMES)


@pytest.mark.parametrize("name", ["0001.png.part", "clip.CRDOWNLOAD", "a.tmp", ".0001.png.Xk3f9Z"])
def test_half_copied_names_are_known(name: str):
    assert looks_half_copied(name, NAMES)


@pytest.mark.parametrize("name", ["0001.png", "job.toml", "macosx.png", "partial.png", "Bäckerei.gif", "lamp (1).png"])
def test_work_is_neither(name: str):
    assert not is_junk(name, NAMES) and not looks_half_copied(name, NAMES) and not is_in_cloud(name, NAMES)


def test_a_stand_in_of_a_cloud_is_no_half_copied_file():
    """macOS gives a file that it keeps only in the cloud the name `.name.icloud` (common practice, no source)."""
    assert is_in_cloud(".lamp.png.icloud", NAMES) and not looks_half_copied(".lamp.png.icloud", NAMES)


def test_a_packed_drop_is_called_as_its_folder_would_be():
    names = {"van.zip": "van", "van.tar.gz": "van", "van.tgz": "van", "v.1.zip": "v.1", ".zip": ".zip", "van": "van"}
    assert {name: without_ending(name) for name in names} == names


def test_no_patterns_match_nothing():
    assert not is_junk("x", NAMES.model_copy(update={"junk": ()}))


# -- FAT --------------------------------------------------------------------------------------------


# 'Naming Files, Paths, and Namespaces': the reserved characters and device names listed there,
# "also avoid these names followed immediately by an extension", the superscript digits, no trailing space or period.
@pytest.mark.parametrize(
    "path",
    [
        *(f"a{c}b.png" for c in '<>:"\\|?*'),
        *("a\x1fb", "a\tb", "CON", "con.txt", "nul.tar.gz", "LPT9.png", "COM\u00b9", "lpt\u00b2.png", "aux .txt"),
        *("part0/prn.png", "logo.png.", "logo ", "folder /logo.png", "..", ""),
    ],
)
def test_names_that_the_file_system_forbids_are_faults(path: str):
    assert fat_faults(path, FAT)


@pytest.mark.parametrize(
    "path",
    ["bootanimation.zip", "part0/0001.png", "console.png", "com10.txt", ".hidden", "a+b,c;d=[e].png", "lámpara", "com"],
)
def test_names_that_fat_holds_are_not(path: str):
    assert fat_faults(path, FAT) == ()


def test_length_is_counted_in_utf16_units():
    # FAT specification (fatgen103), long names: at most 255 characters, stored as UTF-16.
    assert fat_faults("n" * 255, FAT) == () and fat_faults("n" * 256, FAT)
    assert fat_faults("\U0001d11e" * 127, FAT) == () and fat_faults("\U0001d11e" * 128, FAT)


def test_every_fault_is_told_at_once():
    assert len(fat_faults("a?b/con/ ", FAT)) == 3


# -- twins ------------------------------------------------------------------------------------------


def test_files_and_folders_that_differ_only_in_case_are_twins():
    assert case_twins(["a.png", "A.png", "b.png"]) == (("A.png", "a.png"),)
    assert case_twins(["Lamps/1.png", "lamps/1.png", "lamps/2.png"]) == (("Lamps", "lamps"),)
    assert case_twins(["lamps/É.png", "lamps/é.png"]) == (("lamps/É.png", "lamps/é.png"),)
    assert case_twins(["a/1.png", "b/1.png", "a/2.png", "straße", "strasse"]) == ()


# -- folder names -----------------------------------------------------------------------------------


def test_a_customers_name_stays_readable():
    assert safe_name("Fern Hollow Mobile Library") == "fern-hollow-mobile-library"
    assert safe_name("  Fern   Hollow\tMobile Library ") == "fern-hollow-mobile-library"
    assert safe_name("Börek & Söhne").startswith("börek-söhne-")
    assert safe_name("Библиотека 2") == "библиотека-2"
    assert safe_name("図書館") == "図書館"
    assert safe_name("van_2") == "van_2"


def test_composed_and_decomposed_letters_are_one_name():
    assert safe_name(unicodedata.normalize("NFD", "Börek")) == safe_name("Börek")
    assert safe_name(unicodedata.normalize("NFD", "Börek & Co")) == safe_name("BÖREK & co")


@pytest.mark.parametrize(
    "text", ["", ".", "..", "/", "con", "NUL", "com1", "\u200b", "🚐", "../../etc/passwd", "-rf", "a\0b"]
)
def test_difficult_texts_give_plain_names(text: str):
    name = safe_name(text)
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name)
    assert fat_faults(name, FAT) == ()


def test_what_differs_beyond_case_and_spaces_stays_apart():
    texts = [
        "A/B",
        "A-B",
        "A:B",
        "A+B",
        "A.B",
        "A!B",
        "🚐",
        "🚌",
        "",
        ".",
        "con",
        "x" * 80,
        "x" * 81,
        "St. Mary",
        "St Mary",
    ]
    assert len({safe_name(t) for t in texts}) == len(texts)
    assert safe_name("A B") == safe_name("a-b") == safe_name(" A  B ")
    assert safe_name("A/B") == safe_name("a/b")


ANY = st.text(max_size=90) | st.text("aAbB -/.:_éßsS\u0301", max_size=12)


def fully_folded(text: str) -> str:
    """Return `text` without case (canonical caseless matching, Unicode Standard, D145)."""
    return unicodedata.normalize("NFD", unicodedata.normalize("NFD", text).casefold())


def folded(text: str) -> str:
    """Return `text` without case, spaces and hyphens."""
    return re.sub(r"[\s-]+", " ", fully_folded(text)).strip()


def test_two_customers_that_only_full_case_folding_joins_stay_two():
    """ "ß" is no "ss" on FAT, but it is on ext4 with casefold: the names must differ under both (Unicode's
    CaseFolding.txt, status F)."""
    for one, other in (("Strauß", "Strauss"), ("Straße 2", "Strasse 2"), ("ﬂotte", "flotte"), ("ŉ", "ʼn")):
        assert safe_name(one) != safe_name(other)
        assert fully_folded(safe_name(one)) != fully_folded(safe_name(other))
    assert safe_name("STRAUẞ") == safe_name("Strauß"), "the capital of the same letter"
    assert safe_name("Strauß").startswith("strauss-") and safe_name("Strauss") == "strauss"


@settings(deadline=None, max_examples=300)
@given(ANY, ANY)
def test_no_share_takes_two_names_for_one(a: str, b: str):
    if safe_name(a) != safe_name(b):
        assert fully_folded(safe_name(a)) != fully_folded(safe_name(b))


@settings(deadline=None, max_examples=400)
@given(ANY, st.integers(16, 80))
def test_any_text_gives_a_name_that_linux_and_fat_hold(text: str, longest: int):
    name = safe_name(text, longest)
    assert 0 < len(name.encode()) <= longest and name not in (".", "..")
    assert fat_faults(name, FAT) == ()
    assert name == unicodedata.normalize("NFC", name)
    assert "/" not in name and not name.startswith("-")
    assert safe_name(name, longest) == name


@settings(deadline=None, max_examples=300)
@given(ANY, ANY)
def test_two_texts_share_a_name_only_where_they_fold_together(a: str, b: str):
    if safe_name(a) == safe_name(b):
        assert folded(a) == folded(b)


@pytest.mark.system
@pytest.mark.skipif(not shutil.which("mcopy"), reason="needs mtools")
def test_mtools_puts_every_such_name_on_a_fat_image(tmp_path: Path):
    """GNU mtools writes the names to a FAT image and reads them back."""
    rng = random.Random(11)
    alphabet = [chr(c) for c in (*range(32, 0x250), *range(0x370, 0x530), *range(0x5D0, 0x5EB), *range(0x3041, 0x30FF))]
    alphabet += [*'<>:"/\\|?*. ', "図", "書", "館", "🚐"]
    texts = ["", "..", "con", "Com1", "NUL", "Fern Hollow Mobile Library", "x" * 300, "図書館" * 40]
    texts += ["".join(rng.choices(alphabet, k=rng.randint(1, 40))) for _ in range(120)]
    names = sorted({safe_name(text) for text in texts})
    (tmp_path / "in").mkdir()
    for name in names:
        (tmp_path / "in" / name).write_bytes(name.encode())
    env = os.environ | {"LC_ALL": "C.UTF-8"}
    image = tmp_path / "stick.img"
    subprocess.run(["mformat", "-C", "-i", image, "-T", "65536", "::"], check=True, env=env)
    subprocess.run(["mmd", "-i", image, "::d"], check=True, env=env)
    subprocess.run(["mcopy", "-i", image, *(tmp_path / "in").iterdir(), "::d"], check=True, env=env)
    (tmp_path / "back").mkdir()
    subprocess.run(["mcopy", "-i", image, "-s", "::d", tmp_path / "back"], check=True, env=env)
    back = {path.read_bytes().decode(): path.name for path in (tmp_path / "back" / "d").iterdir()}
    assert sorted(back) == names
    # mtools may spell a short name in its own letters, so spelling is compared where a long name is stored.
    assert all(back[name] == name for name in names if len(name) > 12 or name.isascii())
