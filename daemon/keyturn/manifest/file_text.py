"""The text in the bytes of a manifest, whatever an editor made of them, and what a file that is no text is."""

from __future__ import annotations

import codecs
import re

from keyturn.shop.reasons import Reason, Refused, mended, refuse

_MARKS = (
    (codecs.BOM_UTF8, "utf-8", ""),
    (codecs.BOM_UTF32_LE, "utf-32-le", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32-be", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16-le", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16-be", "UTF-16"),
)
"""Byte-order marks (Unicode Standard, 23.8), the longer ones first. UTF-8's is too common to be told."""

_OTHER_KINDS = (
    (re.compile(rb"\{\\rtf"), "an RTF file"),
    (re.compile(rb"PK\x03\x04.*?\bword/", re.DOTALL), "a Word file"),
    (re.compile(rb"PK\x03\x04.{26}mimetypeapplication/vnd\.oasis", re.DOTALL), "an OpenDocument file"),
    (re.compile(rb"PK\x03\x04.*?Index/(?:Document|Metadata)", re.DOTALL), "a Pages file"),
    (re.compile(rb"PK\x03\x04"), "a zip"),
    (re.compile(rb"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), "an old Word file"),
    (re.compile(rb"\s*(?:<\?xml[^>]*>\s*)?(?:<!doctype html|<html|<head|<body)", re.IGNORECASE), "an HTML page"),
    (re.compile(rb"\s*<\?xml"), "an XML file"),
    (re.compile(rb"%PDF-"), "a PDF file"),
    (re.compile(rb"\x89PNG|\xff\xd8\xff|GIF8|RIFF.{4}WEBP", re.DOTALL), "a picture"),
)
"""First bytes of what word processors and browsers save (RTF 1.9.1; APPNOTE.TXT 4.3.7; OpenDocument 1.3, part 2, 3.3;
MS-CFB 2.2; ISO 32000-1, 7.5.2)."""

AS_PLAIN_TEXT = "open it where it was written and save it as plain text; the name may then stay"
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_LINE_ENDS = re.compile("[\r\x0b\x0c\x85\u2028\u2029]")
"""Of old Macs, and of word processors (Unicode Standard, 5.8, "Newline Guidelines")."""

_UNFIT_FOR_1252 = re.compile(rb"[\x81\x8d\x8f\x90\x9d]")


def decoded(data: bytes, name: str) -> tuple[str, list[Reason]]:
    """Return the text of the file `name`, its lines ended by \\n, and what was mended. Raise `Refused`."""
    refuse_other_kinds(data, name)
    text, encoding = _text(data)
    if text is None or _CONTROL.search(text):
        raise Refused([refuse("manifest-kind", "is not a text file", "save it as plain text (UTF-8)", file=name)])
    reasons = []
    if encoding:
        reasons.append(mended("manifest-encoding", f"was read as {encoding}{_strange_word(text, encoding)}", file=name))
    usual = text.replace("\r\n", "\n")
    lines = _LINE_ENDS.sub("\n", usual)
    if lines != usual:
        what = "its lines end in an unusual way, and were read all the same"
        reasons.append(mended("manifest-line-ends", what, file=name))
    return lines, reasons


def refuse_other_kinds(data: bytes, name: str) -> None:
    """Raise `Refused` where the first bytes are those of what a word processor or browser saves."""
    kind = next((what for start, what in _OTHER_KINDS if start.match(data)), None)
    if kind:
        raise Refused([refuse("manifest-kind", f"is {kind}, not plain text", AS_PLAIN_TEXT, file=name)])


def _text(data: bytes) -> tuple[str | None, str]:
    """Return the text, None where it has none, and the encoding to tell of, "" for UTF-8."""
    for mark, encoding, told in _MARKS:
        if data.startswith(mark):
            return _in(data[len(mark) :], encoding), told
    for encoding, zeros in (("utf-16-le", data[1::2]), ("utf-16-be", data[::2])):
        if len(data) > 8 and zeros.count(0) * 2 > len(zeros):
            return _in(data, encoding), "UTF-16"
    if (text := _in(data, "utf-8")) is not None:
        return text, ""
    return data.decode("latin-1" if _UNFIT_FOR_1252.search(data) else "cp1252"), "Windows-1252"


def _in(data: bytes, encoding: str) -> str | None:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        return None


def _strange_word(text: str, encoding: str) -> str:
    """Return a word that another encoding would have made another word, so that a person sees whether it is right."""
    word = re.search(r"\w*[^\W\x00-\x7f]\w*", text) if encoding == "Windows-1252" else None
    return f', as it is not UTF-8: look whether "{word[0][:40]}" is right' if word else ""
