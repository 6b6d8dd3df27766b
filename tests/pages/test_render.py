"""Every page is well formed and one file, hostile names do no harm, colours can be read, figures are plain."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser
from itertools import product
from pathlib import Path
from types import ModuleType

import pytest

from keyturn.pages import render
from keyturn.pages.languages import ENGLISH

PAGES = ["sheet", "board", "card", "one-card", "rejected"]
EVERY = [*PAGES, *(f"hostile-{name}" for name in PAGES)]

# HTML Living Standard, section 13.1.2 "Elements": void elements have no end tag
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Reader(HTMLParser):
    """Reads a page: tags that do not balance, visible texts, and all attributes."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.faults: list[str] = []
        self.texts: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.feed(page)
        self.close()
        self.faults += [f"<{tag}> is not closed" for tag in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> at {self.getpos()} closes {self.open[-1:]}")
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if not {"script", "style"} & set(self.open):
            self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.texts).split())

    def values(self, attribute: str) -> list[str]:
        return [value for _, name, value in self.attributes if name == attribute]


@pytest.mark.parametrize("name", EVERY)
def test_tags_are_balanced_and_ids_are_unique_and_found(pages: dict[str, str], name: str) -> None:
    read = Reader(pages[name])
    assert read.faults == []
    ids = read.values("id")
    assert len(ids) == len(set(ids))
    named = {target for value in read.values("aria-labelledby") for target in value.split()}
    linked = {value[1:] for value in read.values("href") if value.startswith("#")}
    assert (named | linked) - set(ids) == set()


@pytest.mark.parametrize("name", EVERY)
def test_a_page_needs_nothing_from_outside(pages: dict[str, str], name: str) -> None:
    read = Reader(pages[name])
    assert all(value.startswith("data:image/") for value in read.values("src"))
    assert not re.search(r"@import|url\(", pages[name])
    links = [value for tag, attribute, value in read.attributes if tag == "a" and attribute == "href"]
    of_shop = ("mailto:shop@example.org", "https://example.org")
    assert all(value.startswith(("#", "./", "../", *of_shop)) for value in links)
    assert [v for v in read.values("style") if v] == []  # the policy would block inline styles
    assert [a for _, a, _ in read.attributes if a.startswith("on")] == []


@pytest.mark.parametrize("name", EVERY)
def test_the_policy_allows_the_pages_own_style_and_script_and_no_other(pages: dict[str, str], name: str) -> None:
    page = pages[name]
    policy = next(v for t, a, v in Reader(page).attributes if t == "meta" and a == "content" and "default-src" in v)
    from_beside = " 'self' file:" if name.endswith("board") else ""  # the held frames lie in the revisions' folders
    assert policy.startswith(f"default-src 'none'; img-src data:{from_beside};")
    assert "unsafe-inline" not in policy
    allowed = set(re.findall(r"'(sha256-[^']+)'", policy))
    # CSP level 2, 7.2: the digest of the element's text, base64
    texts = re.findall(r"<style>(.*?)</style>", page, re.S) + re.findall(r"<script>(.*?)</script>", page, re.S)
    digests = {"sha256-" + base64.b64encode(hashlib.sha256(t.encode()).digest()).decode() for t in texts}
    assert digests == allowed


@pytest.mark.parametrize("name", PAGES)
def test_hostile_names_are_text(pages: dict[str, str], by_hand: ModuleType, name: str) -> None:
    page = pages[f"hostile-{name}"]
    assert page.count("<script") == pages[name].count("<script")  # none but the page's own
    assert "alert('x')</script>" not in page
    assert " ".join(by_hand.HOSTILE.split()) in Reader(page).text  # and it is there to be read


@pytest.mark.parametrize("name", PAGES)
def test_the_reading_direction_of_a_name_stays_its_own(pages: dict[str, str], name: str) -> None:
    """An override of the reading direction is always inside a <bdi>, a <title> or a caution's own line."""
    body = re.sub(
        r"<script.*?</script>|<[^>]*>",
        lambda m: m[0] if m[0].startswith(("<bdi", "</bdi")) else " ",
        pages[f"hostile-{name}"].partition("<main")[2],
        flags=re.S,
    )
    outside = re.sub(r"<bdi.*?</bdi>", "", body, flags=re.S)
    allowed = 2 if name in ("sheet", "card", "one-card") else 0  # the caution, which is the shop's own text
    assert outside.count("\u202e") <= allowed


def test_control_characters_of_file_names_are_shown() -> None:
    # Unicode block Control Pictures: U+2400 plus the control's code
    assert render.visible("a\x00b\x1bc") == "a\u2400b\u241bc"
    assert str(render.visible("\udcff")).encode() == "\ufffd".encode()


def test_of_all_characters_none_that_is_a_control_comes_through() -> None:
    """XML 1.0, 2.2, says which characters a document may hold; tab and newline are the controls that pages use."""
    for code in [*range(0x20), 0x7F, *range(0xD800, 0xE000)]:
        assert (render.visible(f"a{chr(code)}b") == f"a{chr(code)}b") == (chr(code) in "\t\n"), hex(code)


# -- figures ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "words"),
    [(0.0, "0 %"), (0.004, "under 1 %"), (0.5, "50 %"), (0.985, "98 %"), (0.9999, "over 99 %"), (1.0, "100 %")],
)
def test_only_nothing_is_0_and_only_all_is_100_percent(value: float, words: str) -> None:
    assert ENGLISH.share(value) == words


def test_times_are_utc_and_what_is_no_time_stays() -> None:
    assert ENGLISH.moment("2026-03-01T23:30:00-02:00") == "2026-03-02 01:30 UTC"
    assert ENGLISH.day("2026-03-01T09:30:00") == "1 March 2026"
    assert ENGLISH.moment("") == ""


# -- colours ----------------------------------------------------------------------------------------

TEXT = [
    *product(("ink", "soft", "accent", "warm"), ("paper", "raised")),
    *product(("ink", "soft", "accent"), ("calm-ground",)),
    *product(("ink", "soft", "warm", "accent"), ("warm-ground",)),
    ("on-accent", "accent"),
    ("on-tag", "tag"),
    ("on-bench", "bench"),
    ("bench-warm", "bench"),
]
GRAPHICS = [("accent", "raised"), ("warm", "raised"), ("edge", "raised"), ("bench-bar", "bench"), ("edge", "paper")]


def schemes() -> dict[str, dict[str, str]]:
    css = (Path(render.TEMPLATES) / "colours.css").read_text(encoding="utf-8")
    blocks = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block)) for block in css.split(":root {")[1:]]
    return dict(zip(("light", "dark", "print"), blocks, strict=True))


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, 'contrast ratio' and 'relative luminance')."""

    def luminance(colour: str) -> float:
        parts = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_gives_the_known_greatest_ratio() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21)  # WCAG 2.2: ratios range from 1 to 21


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_text_and_graphics_can_be_told_from_their_ground(scheme: str) -> None:
    colours = schemes()[scheme]
    assert colours.keys() == schemes()["light"].keys()
    # WCAG 2.2, success criteria 1.4.3 (text, 4.5) and 1.4.11 (graphics, 3.0)
    weak = [(a, b) for a, b in TEXT if contrast(colours[a], colours[b]) < 4.5]
    weak += [(a, b) for a, b in GRAPHICS if contrast(colours[a], colours[b]) < 3.0]
    assert weak == []


def test_a_template_compiles_to_the_same_code_in_every_language() -> None:
    """So what was compiled for one can be kept for all; a filter of a constant would be worked out in one of them."""
    english = render._environment("en")
    for name in english.list_templates(extensions=["j2"]):
        source = (render.TEMPLATES / name).read_text(encoding="utf-8")
        compiled = {render._environment(code).compile(source, name, raw=True) for code in ("en", "de", "ar")}
        assert len(compiled) == 1, name
