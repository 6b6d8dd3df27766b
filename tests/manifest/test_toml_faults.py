"""What is no TOML is shown with its line, the place in it, and the line as it should be."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.manifest import reading, toml_faults
from manifest_samples import LEAST, refused


@pytest.mark.parametrize(
    ("line", "place", "mend"),
    [
        ("radio = tall-768x1024", "after radio =, in: radio = tall-768x1024", 'write radio = "tall-768x1024"'),
        ("radio: tall", "after radio, in: radio: tall", 'write radio = "tall"'),
        ('customer "Fern"', 'after customer, in: customer "Fern"', 'write customer = "Fern"'),
        ('customer = "Fern', ': customer = "Fern', 'write customer = "Fern"'),
        ("customer =", ": customer =", 'write customer = "..."'),
        ("background = #fff", "", 'write background = "#fff"'),
        ('art = ["a", "b"', "", 'write art = ["a", "b"]'),
        ("radio = [tall, wide]", "", 'write radio = ["tall", "wide"]'),
        ('customer = "C:\\Hill"', "", 'write customer = "C:/Hill"'),
        ("[motion", "", "write [motion]"),
        ("[[Part]", "", "write [[part]]"),
        ('customer = "a";', "", 'write customer = "a"'),
        ("just words of the artist", "", toml_faults.AS_SHOWN),
    ],
)
def test_a_line_is_quoted_and_shown_mended(line: str, place: str, mend: str) -> None:
    reason = refused(b"artist = 'Ines'\n\n" + line.encode() + b"\n\nfit = 'cover'\n")["None"]
    assert reason.code == "manifest-unreadable" and reason.what.startswith("line 3 cannot be read")
    assert place in reason.what and reason.mend.startswith(mend)


@pytest.mark.parametrize(
    ("text", "what", "mend"),
    [
        ("[part]\nart = 'a'\n[part]\nart = 'b'\n", "line 5 has [part] again", "write [[part]], with two brackets"),
        ("[motion]\n[motion]\n", "line 4 has [motion] again", "put all that belongs to motion under one [motion]"),
        ("fit = 'cover'\nfit = 'contain'\n", "line 4 sets fit again, as in line 3", "keep one of the two"),
    ],
)
def test_what_is_there_twice_is_told(text: str, what: str, mend: str) -> None:
    (reason,) = refused(LEAST + text.encode()).values()
    assert reason.what.startswith(what) and reason.mend.startswith(mend)


def test_one_bracket_for_a_part_and_two_for_the_motion_are_told() -> None:
    one = refused(LEAST + b"[part]\nart = 'a'\n")["part"]
    two = refused(LEAST + b"[[motion]]\nfps = 12\n")["motion"]
    assert (one.mend, two.mend) == ("write [[part]], with two brackets", "write [motion], with one bracket")


@settings(deadline=None)
@given(st.text(alphabet="ab=[]{}\"'#\n\\1,. -:T", max_size=60))
def test_any_text_that_is_no_toml_gives_a_reason_without_the_library_s_words(text: str) -> None:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason, _ = toml_faults.fault(text, error, "job.toml")
        assert reason.what.startswith("line ") and reason.mend and "column" not in reason.line()


def test_all_faulty_lines_are_told_at_once_and_the_rest_is_read_as_it_would_be() -> None:
    text = "customer = Fern Hollow\nradio: tiny\nfit = 3\n[motion\nfps = 12\n"
    manifest, reasons = reading.parse_leniently(text.encode())
    assert [(r.code, r.what[:6]) for r in reasons][:3] == [("manifest-unreadable", f"line {n}") for n in (1, 2, 4)]
    assert [r.field for r in reasons[3:]] == ["fit"]
    assert manifest and (manifest.customer, manifest.radio, manifest.motion.fps) == ("Fern Hollow", ("tiny",), 12)


def test_a_line_whose_meaning_is_not_plain_ends_the_reading() -> None:
    for text in (b"customer =\nradio = 3", b"x = [\ny = 1\n", b"a b c\nradio: tiny\n", b"x: y\n" * 30):
        manifest, reasons = reading.parse_leniently(text)
        assert manifest is None and 1 <= len(reasons) <= 8
