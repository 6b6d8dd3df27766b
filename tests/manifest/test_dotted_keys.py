"""Keys of very many parts are found before tomllib, which takes minutes for them, sees the text."""

from __future__ import annotations

import pytest

from keyturn.manifest import dotted_keys
from manifest_samples import LEAST, refused

PARTS = 20


@pytest.mark.parametrize(
    "text",
    [
        ".".join("a" * PARTS) + " = 1",
        "[" + ".".join("a" * PARTS) + "]",
        "[[" + " . ".join("a" * PARTS) + "]]",
        ".".join(['","'] * PARTS) + " = 1",
        ".".join(["'='"] * PARTS) + " = 1",
        ".".join(['"\\""'] * PARTS) + " = 1",
        'x = {y = """a"""", ' + ".".join("a" * PARTS) + " = 1}",
        "x = {y = '''a'''', " + ".".join("a" * PARTS) + " = 1}",
    ],
)
def test_a_key_of_many_parts_is_found_on_its_line(text: str) -> None:
    # What a dotted key is: TOML 1.0.0, "Keys" and "String".
    assert dotted_keys.line_of_too_long("fps = 4\n\n" + text + "\n") == 3


@pytest.mark.parametrize(
    "text",
    [
        'art = "' + "." * 90 + '"',
        "# " + "." * 90,
        "boot_seconds = [" + "17.5, " * 90 + "18.5]",
        'art = [\n"a.png",\n' * 1 + '"b.png",' * 90 + "]",
        'art = """\n' + "a.b.c.\n" * 40 + '"""',
        "art = '''" + "." * 90 + "'''",
        "a.b.c.d = 1\n" * 40,
    ],
)
def test_dots_in_values_and_comments_do_not_count(text: str) -> None:
    assert dotted_keys.line_of_too_long(text) is None


def test_a_manifest_with_a_key_of_254_kib_is_refused_with_its_line() -> None:
    (reason,) = refused(LEAST + b"\n" + b"a." * 127_000 + b"a = 1\n").values()
    assert reason.code == "manifest-unreadable"
    assert f"line {LEAST.count(bytes([10])) + 2}" in reason.what
