"""INSTALL.txt of a radio's stock files: how they go back, as plain text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from keyturn.pages.card import file_line, load_steps, translated
from keyturn.pages.languages import Language, language_of_shop
from keyturn.pages.text_file import chapter, text_file, wrapped
from keyturn.shop.papers import Letterhead
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import RestoreRecord


def restore_text(
    record: RestoreRecord, profile: Radio, cautions: Sequence[str], letterhead: Letterhead | None = None
) -> str:
    """Return INSTALL.txt of the stock files, in the shop's language, as `install_text` writes that of a job."""
    language = language_of_shop(letterhead)
    lines = [
        *wrapped(letterhead.line if letterhead else "", "", language),
        *_lines(record, profile, cautions, language),
    ]
    return text_file(lines, language)


def _lines(record: RestoreRecord, profile: Radio, cautions: Sequence[str], language: Language) -> Iterator[str]:
    _, name = language.gettext, language.isolated
    kept = {"customer": name(record.customer), "day": language.day(record.kept_at)}
    yield from wrapped(_("Back to stock, for %(customer)s: the files that the radio came with", **kept), "", language)
    about = {"title": name(language.translated(record.title)), "radio": name(record.radio)}
    yield from wrapped(_("Radio: %(title)s (%(radio)s)", **about), "", language)
    yield from wrapped(_("Kept since %(day)s, unchanged.", **kept), "", language)
    yield from chapter(_("Before you begin"), translated(cautions, language), "!", language)
    yield from chapter(_("Files on this stick"), [file_line(file, language) for file in record.files], "-", language)
    yield from chapter(_("Load"), load_steps(profile, f"{record.folder}/", language), None, language)
    yield from chapter(_("Confirm"), translated(profile.steps.confirm, language), None, language)
