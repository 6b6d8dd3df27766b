"""A page's language: its sentences from a gettext catalogue, its numbers, dates and plurals by CLDR.

The English sentence is the message's id, so a sentence without a translation still shows. Babel is imported only for
other languages than English. A language is passed to whoever writes; nothing keeps a current one.
"""

from __future__ import annotations

import gettext as gettext_catalogues
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING

from keyturn.shop.language_codes import LANGUAGES
from keyturn.shop.units import KIB, MIB

if TYPE_CHECKING:  # it reads pictures, which takes a while to import
    from keyturn.shop.papers import Letterhead

LOCALE = Path(__file__).parent / "locale"
"""Catalogues: <code>/LC_MESSAGES/keyturn.po. They are compiled when they are first used, so none can be out of date."""

RIGHT_TO_LEFT = ("ar",)

REASONS = "a reason"
"""The context of the catalogue's sentences that reasons are made from; keyturn.pages.reason_words looks them up."""

Translations = gettext_catalogues.NullTranslations


def N_(message: str) -> str:  # noqa: N802 - the name that gettext's tools look for
    """Return `message` as it is. It marks a text for the catalogue that is translated elsewhere."""
    return message


@dataclass(frozen=True, slots=True)
class Language:
    """A language of pages. Values go into a message where it says %(name)s, and a percent sign is written %%."""

    code: str = "en"
    catalogue: Translations = field(default_factory=Translations, repr=False, compare=False)
    reasons: tuple[tuple[str, str], ...] = field(default=(), repr=False, compare=False)
    """Sentences of reasons: in English, and their translation."""

    @property
    def direction(self) -> str:
        """The direction of reading, as HTML names it."""
        return "rtl" if self.code in RIGHT_TO_LEFT else "ltr"

    # -- sentences ----------------------------------------------------------------------------------

    def gettext(self, message: str, /, **values: object) -> str:
        """Return the message in this language."""
        return self.catalogue.gettext(message) % values

    def ngettext(self, one: str, many: str, number: int, /, **values: object) -> str:
        """Return the form of the message that `number` takes. Where it says %(num)s, it shows the number."""
        return self.catalogue.ngettext(one, many, number) % {"num": self.decimal(number), **values}

    def pgettext(self, context: str, message: str, /, **values: object) -> str:
        """Return the message as it is meant in `context`: for words that other languages tell apart."""
        return self.catalogue.pgettext(context, message) % values

    def translated(self, text: str) -> str:
        """Return a text of the rules in this language: as it is where the shop changed it, or wrote its own."""
        return self.catalogue.gettext(text) if text else text

    def listed(self, *items: str) -> str:
        """Return the items that are not empty, one after another."""
        return self.pgettext("between the items of a list", ", ").join(filter(None, items))

    def isolated(self, text: str) -> str:
        """Return a name or a code for a sentence of plain text: on pages from right to left, between isolates.

        These are U+2068 and U+2069 (Unicode Bidirectional Algorithm, 2.4), so that it does not turn what is beside it.
        """
        return f"\u2068{text}\u2069" if self.direction == "rtl" else text

    # -- figures ------------------------------------------------------------------------------------

    def decimal(self, value: float, places: int = 0) -> str:
        """Return a number with so many decimal places. Digits are 0 to 9 in Arabic too, as the player shows them."""
        if self.code == "en":
            return f"{value:,.{places}f}"
        from babel.numbers import format_decimal

        return format_decimal(round(value, places), f"#,##0.{'0' * places}".rstrip("."), locale=self.code)

    def seconds(self, value: float) -> str:
        """Return seconds with one decimal: "3.4 s"."""
        return self.gettext("%(number)s s", number=self.decimal(value, 1))

    def seconds_in_full(self, value: float, *, whole: bool = False) -> str:
        """Return "1 second", "2.5 seconds", "16 seconds": below 5 with one decimal where it is not whole."""
        rounded = round(value) if whole or value >= 5 else round(value, 1)
        if rounded == int(rounded):
            return self.ngettext("%(num)s second", "%(num)s seconds", int(rounded))
        if self.code == "en":
            return f"{rounded:g} seconds"
        from babel.units import format_unit

        return format_unit(rounded, "duration-second", "long", locale=self.code)

    def milliseconds(self, value: float) -> str:
        """Return seconds as whole milliseconds: "58 ms"."""
        return self.gettext("%(number)s ms", number=self.decimal(value * 1000))

    def share(self, value: float) -> str:
        """Return a share (0 to 1) in percent. Only 0 is "0 %", and only 1 is "100 %"."""
        if 0.99 < value < 1:
            return self.gettext("over %(percent)s", percent=self._percent(0.99))
        if 0 < value < 0.01:
            return self.gettext("under %(percent)s", percent=self._percent(0.01))
        return self._percent(value)

    def _percent(self, value: float) -> str:
        """Return a share (0 to 1) in whole percent: "50 %"."""
        if self.code == "en":
            return f"{value * 100:.0f} %"
        from babel.numbers import format_percent

        return format_percent(round(value, 2), locale=self.code)

    def size(self, size: float) -> str:
        """Return `size` bytes as "9.0 MiB", or below a tenth of a MiB as "12 KiB"."""
        if size < MIB / 10:
            return self.gettext("%(number)s KiB", number=self.decimal(size / KIB))
        return self.gettext("%(number)s MiB", number=self.decimal(size / MIB, 1))

    def day(self, iso: str) -> str:
        """Return "1 March 2026" for an ISO 8601 time, and any other text as it is."""
        at = _utc(iso)
        if at is None:
            return iso
        if self.code == "en":
            return f"{at.day} {at:%B %Y}"
        from babel.dates import format_date

        return format_date(at.date(), "long", locale=self.code)

    def moment(self, iso: str) -> str:
        """Return "2026-03-01 09:30 UTC" for an ISO 8601 time, and any other text as it is."""
        at = _utc(iso)
        if at is None:
            return iso
        if self.code == "en":
            return f"{at:%Y-%m-%d %H:%M} UTC"
        from babel.dates import format_date

        return f"{format_date(at.date(), 'long', locale=self.code)}, {at:%H:%M} UTC"


def _utc(iso: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(iso)
    except ValueError:
        return None
    return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)


ENGLISH = Language()


@cache
def language_of(code: str) -> Language:
    """Return the language with this code, English where there is none: a newer Keyturn's records may name others."""
    if code == "en" or code not in LANGUAGES:
        return ENGLISH
    return _read(code)


def language_of_shop(letterhead: Letterhead | None) -> Language:
    """Return the shop's language, in which its fitters and artists read; English where no shop is known."""
    return language_of("en" if letterhead is None else letterhead.language)


def language_of_customer(revisions: Iterable[tuple[str, str | None]], shops: str) -> Language:
    """Return the language of a customer's sheet: that of the newest revision whose job.toml names one, else the
    shop's. A revision is (made at, language)."""
    named = [(made_at, code) for made_at, code in revisions if code]
    return language_of(max(named, key=itemgetter(0))[1] if named else shops)


def catalogue_file(code: str) -> Path:
    """Return where the catalogue of a language lies."""
    return LOCALE / code / "LC_MESSAGES" / "keyturn.po"


def _read(code: str) -> Language:
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    with catalogue_file(code).open("rb") as file:
        catalogue = read_po(file, locale=code)
    reasons = tuple((str(m.id), str(m.string)) for m in catalogue if m.context == REASONS and m.string)
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return Language(code, gettext_catalogues.GNUTranslations(compiled), reasons)
