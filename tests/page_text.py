"""The text of a page, for tests of what people read."""

from __future__ import annotations

import re
from html import unescape


def text_of(page: str) -> str:
    """Return what is read on `page`: without tags, styles and scripts, each run of white space as one blank."""
    page = re.sub(r"<(script|style).*?</\1>", " ", page, flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", "", page)).split())
