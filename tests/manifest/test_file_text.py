"""The text of a manifest is found in any usual encoding, and what is no text is named."""

from __future__ import annotations

import io
import zipfile

import pytest

from keyturn.manifest.file_text import decoded
from keyturn.shop.reasons import Reason, Refused

TEXT = 'customer = "Café Farnhügel"\nradio = "tall"\n'


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (TEXT.encode(), []),
        (TEXT.encode("utf-8-sig"), []),
        (TEXT.replace("\n", "\r\n").encode(), []),
        # the marks: Unicode Standard 16, 23.8, "Byte Order Mark"
        (b"\xff\xfe" + TEXT.encode("utf-16-le"), ["manifest-encoding"]),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), ["manifest-encoding"]),
        (TEXT.encode("utf-32"), ["manifest-encoding"]),
        (TEXT.encode("utf-16-le"), ["manifest-encoding"]),
        (TEXT.encode("cp1252"), ["manifest-encoding"]),
        (TEXT.replace("\n", "\r").encode("latin-1"), ["manifest-encoding", "manifest-line-ends"]),
    ],
)
def test_any_usual_encoding_gives_the_same_text(data: bytes, told: list[str]) -> None:
    text, reasons = decoded(data, "job.toml")
    assert text == TEXT
    assert [reason.code for reason in reasons] == told


@pytest.mark.parametrize("end", ["\r", "\x0b", "\x0c", "\u2028", "\u2029", "\x85"])
def test_other_line_ends_are_line_ends(end: str) -> None:
    """Unicode Standard 16, 5.8, table 5-1: the characters that end a line."""
    text, (reason,) = decoded(TEXT.replace("\n", end).encode(), "job.toml")
    assert text == TEXT and reason.code == "manifest-line-ends"


def test_what_was_guessed_to_be_windows_1252_shows_a_word_to_look_at() -> None:
    _, (reason,) = decoded(TEXT.encode("cp1252"), "job.toml")
    assert reason.what == 'was read as Windows-1252, as it is not UTF-8: look whether "Café" is right'


def office(*names: str) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name in names:
            archive.writestr(name, "application/vnd.oasis.opendocument.text" if name == "mimetype" else "x")
    return made.getvalue()


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"{\\rtf1\\ansi customer", "an RTF file"),  # RTF 1.9.1, "RTF Version"
        (office("[Content_Types].xml", "_rels/.rels", "word/document.xml"), "a Word file"),  # ECMA-376, part 1, 11
        (office("mimetype", "content.xml"), "an OpenDocument file"),  # OpenDocument 1.3, part 2, 3.3
        (office("Index/Document.iwa"), "a Pages file"),  # common practice, no source
        (office("job.toml"), "a zip"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "an old Word file"),  # MS-CFB, 2.2
        (b"\n<!DOCTYPE html><p>customer", "an HTML page"),  # HTML Standard, 13.1.1
        (b'<?xml version="1.0"?>\n<html>', "an HTML page"),
        (b'<?xml version="1.0"?>\n<plist>', "an XML file"),
        (b"%PDF-1.7\n", "a PDF file"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
    ],
)
def test_what_a_word_processor_or_browser_saved_is_named(data: bytes, kind: str) -> None:
    reason = refusal(data)
    assert (reason.code, reason.what) == ("manifest-kind", f"is {kind}, not plain text")
    assert "plain text" in reason.mend


@pytest.mark.parametrize("data", [b"a\0b" * 9, b"\x01\x02\x03", b"\xff\xfea"])
def test_other_bytes_are_no_text(data: bytes) -> None:
    assert refusal(data).what == "is not a text file"


def refusal(data: bytes) -> Reason:
    with pytest.raises(Refused) as caught:
        decoded(data, "job.toml")
    (reason,) = caught.value.reasons
    return reason
