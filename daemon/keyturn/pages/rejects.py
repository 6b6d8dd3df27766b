"""The pages in a refused drop: all that is wrong with it, file by file, and how to mend it."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from keyturn.pages.languages import N_, Language, language_of_shop
from keyturn.pages.reason_words import told
from keyturn.pages.render import page, visible
from keyturn.shop.papers import Letterhead
from keyturn.shop.reasons import Kind, Reason, only
from keyturn.shop.records import Rejection

WIDTH = 78
_DIRECTIONS = re.compile("[\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
BACK = N_("Mend the files here, then drag this folder back to the inbox. It goes again by itself.")
LOOK = N_("Nothing has been handed in. Mend the files, then look again, or put the folder into the inbox.")


@dataclass(frozen=True, slots=True)
class FileView:
    """The reasons about one file, or about the drop as a whole where `file` is None."""

    file: str | None
    picture: str | None
    reasons: tuple[Reason, ...]


def rejected_pages(rejection: Rejection, letterhead: Letterhead | None = None) -> dict[str, str]:
    """Return the text of each page of a refused drop, by its file's name."""
    return {
        "REJECTED.html": rejected_html(rejection, letterhead),
        "REJECTED.txt": rejected_text(rejection, letterhead),
    }


def rejected_html(rejection: Rejection, letterhead: Letterhead | None = None, *, look: bool = False) -> str:
    """Return REJECTED.html; a `look` is the same page about a drop that has not been dropped."""
    language = language_of_shop(letterhead)
    return page(
        "rejected.html.j2",
        styles=("rejected.css", "exhibits.css"),
        rejection=rejection,
        shop=letterhead or Letterhead(),
        refused=_by_file(only(rejection.reasons, Kind.REFUSE), rejection.pictures),
        mended=only(rejection.reasons, Kind.MENDED),
        notes=only(rejection.reasons, Kind.NOTE),
        faults=len(only(rejection.reasons, Kind.REFUSE)),
        back=language.gettext(LOOK if look else BACK),
        look=look,
        language=language,
    )


def _by_file(reasons: Sequence[Reason], pictures: dict[str, str]) -> tuple[FileView, ...]:
    """Return the reasons grouped by file, in the order in which the files are first named."""
    groups: dict[str | None, list[Reason]] = {}
    for reason in reasons:
        groups.setdefault(reason.file, []).append(reason)
    shown = {exhibit.name for reason in reasons for exhibit in reason.exhibits}  # these pictures stand with the reason
    return tuple(
        FileView(file, None if file in shown else pictures.get(file or ""), tuple(group))
        for file, group in groups.items()
    )


def rejected_text(rejection: Rejection, letterhead: Letterhead | None = None) -> str:
    """Return REJECTED.txt, which says the same as plain text."""
    return "".join(f"{line}\n" for line in _lines(rejection, language_of_shop(letterhead)))


def _lines(rejection: Rejection, language: Language) -> Iterator[str]:
    _ = language.gettext
    refused = only(rejection.reasons, Kind.REFUSE)
    yield _("REFUSED: %(drop)s", drop=_name(rejection.drop, language))
    at = language.moment(rejection.rejected_at)
    if rejection.customer:
        yield language.ngettext(
            "%(num)s thing to mend for %(customer)s, %(at)s",
            "%(num)s things to mend for %(customer)s, %(at)s",
            len(refused),
            customer=_name(rejection.customer, language),
            at=at,
        )
    else:
        yield language.ngettext("%(num)s thing to mend, %(at)s", "%(num)s things to mend, %(at)s", len(refused), at=at)
    yield ""
    yield from textwrap.wrap(_(BACK), WIDTH)
    yield from _listed(_("To mend").upper(), refused, language)
    yield from _listed(_("Already mended for you").upper(), only(rejection.reasons, Kind.MENDED), language)
    yield from _listed(_("To know").upper(), only(rejection.reasons, Kind.NOTE), language)


def _name(text: str, language: Language) -> str:
    return language.isolated(_plain(text))


def _listed(title: str, reasons: Sequence[Reason], language: Language) -> Iterator[str]:
    if not reasons:
        return
    yield from ("", title)
    for number, reason in enumerate(reasons, start=1):
        yield ""
        place = " ".join(filter(None, [reason.file, f"[{reason.field}]" if reason.field else None]))
        yield from _wrapped(_plain(place) or language.gettext("the drop"), f"{number}. ")
        yield from _wrapped(told(_plain(reason.what), language).words, "   ")
        if reason.mend:
            first, *to_paste = reason.mend.split("\n")
            yield from _wrapped(told(_plain(first), language).words, "   -> ")
            yield from (f"      {_plain(line)}" for line in to_paste)


def _wrapped(text: str, mark: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _plain(text: str) -> str:
    """Return `text` as one line without characters that change the reading direction of the text beside it."""
    return _DIRECTIONS.sub("\ufffd", str(visible(text.replace("\r", " ").replace("\n", " "))))
