"""How every page is made: one Jinja2 environment, one base page, and filters that write figures for people.

A page is one file and loads nothing from outside. Its Content-Security-Policy names the hash of its own style and
script, so a script that came in with a file's name could not run.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup

from keyturn.pages.languages import ENGLISH, Language, language_of
from keyturn.pages.reason_words import told

if TYPE_CHECKING:  # a command that makes frames begins with these, and imports Jinja2 meanwhile (`papers_ahead`)
    from jinja2 import Environment

TEMPLATES = Path(__file__).parent / "templates"

_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


def page(
    template: str,
    *,
    styles: Sequence[str] = (),
    script: str | Sequence[str] | None = None,
    pictures: str = "data:",
    language: Language = ENGLISH,
    own_style: str = "",
    **values: object,
) -> str:
    """Return the page of `template` with `styles` after the common ones, and `script`, one or several; all are files.

    `own_style` comes after the styles: lengths of this page, in which no text from outside may stand.
    `pictures` says where pictures may come from, as the policy's img-src (CSP level 3, 6.1.8).
    """
    css = "\n".join([*(_text(name) for name in ("colours.css", "common.css", *styles)), *filter(None, [own_style])])
    js = "\n".join(_text(name) for name in ([script] if isinstance(script, str) else script or ()))
    policy = f"default-src 'none'; img-src {pictures}; style-src '{_hash(css)}'"
    policy += f"; script-src '{_hash(js)}'" if js else ""
    policy += "; base-uri 'none'; form-action 'none'"
    # not escaped: these are the package's own files, and no artist's text is put into them
    own = {"css": Markup(css), "js": Markup(js), "policy": Markup(policy)}
    return _environment(language.code).get_template(template).render(**own, **values)


def fragment(template: str, *, language: Language = ENGLISH, **values: object) -> Markup:
    """Return a piece of a page, escaped as a page is. It goes into a page as it is."""
    return Markup(_environment(language.code).get_template(template).render(**values))


def make_ready(templates: Iterable[str], language: Language) -> None:
    """Read the templates, or compile them, so that a page made of them does not wait for that."""
    for name in templates:
        _environment(language.code).get_template(name)


@cache
def _text(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8").strip()


def _hash(text: str) -> str:
    """Return the CSP level 2 source expression of an element: the digest of the text between its tags."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


@cache
def _environment(code: str) -> Environment:
    """Return what makes pages in one language. Its templates are the same, their sentences and figures its own.

    Compiled templates are the same too, and kept for all languages: no template gives a filter a constant, which Jinja2
    would work out in the language at hand (tests/pages/test_render.py).
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from keyturn.pages.compiled_templates import compiled_templates

    language = language_of(code)
    environment = Environment(
        extensions=["jinja2.ext.i18n"],
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=visible,
        bytecode_cache=compiled_templates(),
    )
    filters = {
        "seconds": language.seconds,
        "milliseconds": language.milliseconds,
        "decimal": language.decimal,
        "readable_size": language.size,
        "share": language.share,
        "day": language.day,
        "moment": language.moment,
        "counted": counted,
        "link": link,
        "translated": language.translated,
        "told": lambda text: told(text, language),
    }
    environment.filters.update(filters)
    environment.policies["ext.i18n.trimmed"] = True
    say = Sentences(language)
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        say.gettext, say.ngettext, newstyle=True, pgettext=say.pgettext
    )
    # the extension wraps what it installs, and would put values in without showing their control characters
    own = {"gettext": say.gettext, "ngettext": say.ngettext, "pgettext": say.pgettext, "_": say.gettext}
    environment.globals.update(own, language=language)
    return environment


@dataclass(frozen=True, slots=True)
class Sentences:
    """The sentences of templates. A message may hold markup; values that go into it are escaped, as on a page."""

    language: Language

    def gettext(self, message: str, /, **values: object) -> Markup:
        """Return the message with its values."""
        return _filled(self.language.catalogue.gettext(message), values)

    def ngettext(self, one: str, many: str, number: int, /, **values: object) -> Markup:
        """Return the message in the form that the number takes; %(num)s is the number."""
        text = self.language.catalogue.ngettext(one, many, number)
        return _filled(text, {**values, "num": self.language.decimal(number)})

    def pgettext(self, context: str, message: str, /, **values: object) -> Markup:
        """Return the message as it is meant in the context."""
        return _filled(self.language.catalogue.pgettext(context, message), values)


def _filled(text: str, values: Mapping[str, object]) -> Markup:
    return Markup(text) % {name: visible(value) for name, value in values.items()}


def visible(value: object) -> object:
    """Return text with control characters as their Unicode pictures; a file's name may hold them, a page may not."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    if value.isprintable():  # a third of the time for a picture's 100 KB of base64
        return value
    return _CONTROLS.sub(_picture_of, value)


def _picture_of(found: re.Match[str]) -> str:
    code = ord(found[0])
    return chr(0x2400 + code) if code < 0x20 else "\ufffd"


# -- filters in English, for what is written in no other language --------------------------------------


def counted(number: int, thing: str) -> str:
    """Return a number with its English noun: "1 frame", "48 frames"."""
    return f"{number:,} {thing}" if number == 1 else f"{number:,} {thing}s"


def link(path: str) -> str:
    """Return a relative path as a relative URL. "./" keeps a colon in its first step from being a scheme (RFC 3986)."""
    return "./" + quote(path, safe="/")
