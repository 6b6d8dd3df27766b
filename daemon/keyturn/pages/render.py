"""How every page is made: one Jinja2 environment, one base page, and filters that write figures for people.

A page is one file and loads nothing from outside. Its Content-Security-Policy names the hash of its own style and
script, so a script that came in with a file's name could not run.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from keyturn.shop.units import readable_size

TEMPLATES = Path(__file__).parent / "templates"

_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


def page(template: str, *, styles: Sequence[str] = (), script: str | None = None, **values: object) -> str:
    """Return the page of `template` with `styles` after the common ones, and `script`; all are template files."""
    css = "\n".join(_text(name) for name in ("colours.css", "common.css", *styles))
    js = _text(script) if script else ""
    policy = f"default-src 'none'; img-src data:; style-src '{_hash(css)}'"
    policy += f"; script-src '{_hash(js)}'" if js else ""
    policy += "; base-uri 'none'; form-action 'none'"
    # not escaped: these are the package's own files, and no artist's text is put into them
    own = {"css": Markup(css), "js": Markup(js), "policy": Markup(policy)}
    return _environment().get_template(template).render(**own, **values)


def fragment(template: str, **values: object) -> Markup:
    """Return a piece of a page, escaped as a page is. It goes into a page as it is."""
    return Markup(_environment().get_template(template).render(**values))


@cache
def _text(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8").strip()


def _hash(text: str) -> str:
    """Return the CSP level 2 source expression of an element: the digest of the text between its tags."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=visible,
    )
    filters = {
        "seconds": seconds,
        "milliseconds": milliseconds,
        "readable_size": readable_size,
        "share": share,
        "day": day,
        "moment": moment,
        "counted": counted,
        "link": link,
    }
    environment.filters.update(filters)
    return environment


def visible(value: object) -> object:
    """Return text with control characters as their Unicode pictures; a file's name may hold them, a page may not."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return _CONTROLS.sub(_picture_of, value)


def _picture_of(found: re.Match[str]) -> str:
    code = ord(found[0])
    return chr(0x2400 + code) if code < 0x20 else "\ufffd"


# -- figures ----------------------------------------------------------------------------------------


def seconds(value: float) -> str:
    """Return seconds with one decimal: "3.4 s"."""
    return f"{value:.1f} s"


def milliseconds(value: float) -> str:
    """Return seconds as whole milliseconds: "58 ms"."""
    return f"{value * 1000:.0f} ms"


def share(value: float) -> str:
    """Return a share (0 to 1) in percent. Only 0 is "0 %", and only 1 is "100 %"."""
    if 0.99 < value < 1:
        return "over 99 %"
    if 0 < value < 0.01:
        return "under 1 %"
    return f"{value * 100:.0f} %"


def counted(number: int, thing: str) -> str:
    """Return a number with its noun: "1 frame", "48 frames"."""
    return f"{number:,} {thing}" if number == 1 else f"{number:,} {thing}s"


def day(iso: str) -> str:
    """Return "1 March 2026" for an ISO 8601 time, and any other text as it is."""
    at = _utc(iso)
    return f"{at.day} {at:%B %Y}" if at else iso


def moment(iso: str) -> str:
    """Return "2026-03-01 09:30 UTC" for an ISO 8601 time, and any other text as it is."""
    at = _utc(iso)
    return f"{at:%Y-%m-%d %H:%M} UTC" if at else iso


def _utc(iso: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(iso)
    except ValueError:
        return None
    return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)


def link(path: str) -> str:
    """Return a relative path as a relative URL. "./" keeps a colon in its first step from being a scheme (RFC 3986)."""
    return "./" + quote(path, safe="/")
