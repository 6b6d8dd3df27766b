"""Write the catalogues anew from the sentences in the code: `python -m keyturn.pages.catalogues`.

The template keyturn.pot holds every sentence. Each language's keyturn.po keeps its translations and gets new sentences
without one. A sentence that was changed loses its translation: a guess would be shown to a customer.
"""

from __future__ import annotations

import io
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract
from babel.messages.pofile import read_po, write_po

from keyturn.pages.languages import LOCALE, REASONS, catalogue_file
from keyturn.shop.language_codes import LANGUAGES

PACKAGE = Path(__file__).parents[1]
TEMPLATE = LOCALE / "keyturn.pot"
REASON_SENTENCES = LOCALE / "reasons.txt"
"""Sentences of reasons, one a line. tests/reason_sentences.py reads them from the code."""

SINCE = datetime(2026, 11, 26, tzinfo=UTC)
"""Stands in every header, so that a catalogue changes only with its sentences."""

_OPTIONS = {"newstyle_gettext": "true", "trimmed": "true", "silent": "false", "trim_blocks": "true"}


def template() -> Catalog:
    """Return every sentence of the pages and of reasons, and the names, cautions and steps of the rules that ship."""
    found = _empty(None)
    pages = PACKAGE / "pages"
    for path in sorted((*pages.glob("*.py"), *pages.glob("templates/*.j2"))):
        method = "python" if path.suffix == ".py" else "jinja2.ext:babel_extract"
        with path.open("rb") as file:
            for _, message, _, context in extract(method, file, DEFAULT_KEYWORDS, (), _OPTIONS):
                found.add(message, locations=[_place(path)], context=context)
    for path, text in _rules_texts():
        found.add(text, locations=[_place(path)])
    for sentence in REASON_SENTENCES.read_text(encoding="utf-8").splitlines():
        found.add(sentence, locations=[_place(REASON_SENTENCES)], context=REASONS)
    return found


def _empty(code: str | None) -> Catalog:
    return Catalog(
        code,
        header_comment="# Keyturn's sentences for customers, fitters and artists; DEVELOPERS.md says how to translate.",
        project="Keyturn",
        version="1",
        msgid_bugs_address="the project's issues",
        last_translator="Keyturn",
        language_team="Keyturn",
        creation_date=SINCE,
        revision_date=SINCE,
        charset="utf-8",
        fuzzy=False,
    )


def _place(path: Path) -> tuple[str, int]:
    """Return a file without a line number: a catalogue does not change when sentences move."""
    return path.relative_to(PACKAGE).as_posix(), 0


def _rules_texts() -> Iterator[tuple[Path, str]]:
    players = PACKAGE / "rules" / "players.toml"
    yield from ((players, name) for name in _toml(players)["pacing"] if name not in ("what", "source"))
    safety = PACKAGE / "rules" / "safety.toml"
    cautions = _toml(safety)["cautions"]
    yield from ((safety, text) for key in ("sheet", "card") for text in cautions[key])
    for path in sorted((PACKAGE / "rules" / "radios").glob("*.toml")):
        radio = _toml(path)
        yield path, radio["title"]
        steps = radio.get("steps", {})
        yield from ((path, text) for key in ("load", "confirm", "restore") for text in steps.get(key, ()))


def _toml(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def updated(code: str) -> Catalog:
    """Return a language's catalogue with the sentences of today and the translations that it has for them."""
    there, wanted = _empty(code), template()
    try:
        with catalogue_file(code).open("rb") as file:
            old = read_po(file, locale=code)
    except FileNotFoundError:
        old = there
    for message in wanted:
        if message.id:
            known = old.get(message.id, message.context)
            same = known is not None and known.id == message.id
            there.add(message.id, known.string if known and same else None, message.locations, context=message.context)
    return there


def as_text(catalogue: Catalog) -> bytes:
    """Return the catalogue as the file that gettext's tools read, the same by every version of Babel."""
    file = io.BytesIO()
    write_po(file, catalogue, width=100, include_lineno=False, sort_output=False)
    return b"".join(line for line in file.getvalue().splitlines(True) if not line.startswith(b'"Generated-By'))


def write_all() -> None:
    """Write keyturn.pot, and the catalogue of every language but English, which is the sentences themselves."""
    TEMPLATE.write_bytes(as_text(template()))
    for code in LANGUAGES:
        if code != "en":
            catalogue = as_text(updated(code))
            catalogue_file(code).parent.mkdir(parents=True, exist_ok=True)
            catalogue_file(code).write_bytes(catalogue)


if __name__ == "__main__":
    write_all()
