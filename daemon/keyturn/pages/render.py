"""How every page is made: one Jinja2 environment, one base page, and the figures as people read them.

Pages are single files without outside parts. Their Content-Security-Policy names the hash of the one style
and the one script they carry, so nothing that slips in by a name could ever run.
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
    """The page of `template` with `styles` (after the common ones) and `script`, all from the templates folder."""
    css = "\n".join(_text(name) for name in ("colours.css", "common.css", *styles))
    js = _text(script) if script else ""
    policy = f"default-src 'none'; img-src data:; style-src '{_hash(css)}'"
    policy += f"; script-src '{_hash(js)}'" if js else ""
    policy += "; base-uri 'none'; form-action 'none'"
    # trusted: these are the package's own files, and no name ever enters them
    own = {"css": Markup(css), "js": Markup(js), "policy": Markup(policy)}
    return _environment().get_template(template).render(**own, **values)


def fragment(template: str, **values: object) -> Markup:
    """A piece of a page, made by the same rules: it goes into the page as it is."""
    return Markup(_environment().get_template(template).render(**values))


@cache
def _text(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8").strip()


def _hash(text: str) -> str:
    """A source expression of CSP level 2: the digest of exactly what stands between the tags."""
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
    """Control characters, which a file name may hold and a page may not, as their pictures."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return _CONTROLS.sub(_picture_of, value)


def _picture_of(found: re.Match[str]) -> str:
    code = ord(found[0])
    return chr(0x2400 + code) if code < 0x20 else "\ufffd"


# -- figures ----------------------------------------------------------------------------------------


def seconds(value: float) -> str:
    """Seconds with one decimal: "3.4 s"."""
    return f"{value:.1f} s"


def milliseconds(value: float) -> str:
    """Seconds as whole milliseconds: "58 ms"."""
    return f"{value * 1000:.0f} ms"


def share(value: float) -> str:
    """A share (0 to 1) in percent; only nothing is 0 % and only all is 100 %."""
    if 0.99 < value < 1:
        return "over 99 %"
    if 0 < value < 0.01:
        return "under 1 %"
    return f"{value * 100:.0f} %"


def counted(number: int, thing: str) -> str:
    """ "1 frame", "48 frames"."""
    return f"{number:,} {thing}" if number == 1 else f"{number:,} {thing}s"


def day(iso: str) -> str:
    """ "1 March 2026" of an ISO 8601 time; what is none stays as it is."""
    at = _utc(iso)
    return f"{at.day} {at:%B %Y}" if at else iso


def moment(iso: str) -> str:
    """ "2026-03-01 09:30 UTC" of an ISO 8601 time; what is none stays as it is."""
    at = _utc(iso)
    return f"{at:%Y-%m-%d %H:%M} UTC" if at else iso


def _utc(iso: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(iso)
    except ValueError:
        return None
    return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)


def link(path: str) -> str:
    """A relative path as a relative URL (RFC 3986); a first step with a colon must not read as a scheme."""
    return "./" + quote(path, safe="/")
