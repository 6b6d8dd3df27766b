"""Any bytes give either a manifest or the reasons why there is none."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.manifest import reading
from keyturn.manifest.models import Manifest
from keyturn.shop.reasons import Kind, Refused
from manifest_samples import LEAST, refused


@pytest.mark.parametrize(
    "data",
    [
        b"customer = ",
        b"a = " + b"[" * 5000,
        b'customer = "x"\ncustomer = "y"',
        b"fps = " + b"9" * 10_000,
    ],
)
def test_what_is_not_toml_is_refused_with_one_clear_reason(data: bytes) -> None:
    (reason,) = refused(data).values()
    assert reason.code == "manifest-unreadable"


def test_a_byte_order_mark_is_forgiven() -> None:
    assert reading.parse(b"\xef\xbb\xbf" + LEAST).customer.startswith("Fern")


def test_a_manifest_of_megabytes_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_bytes(LEAST + b"#" * 300_000)
    with pytest.raises(Refused, match="larger than 256 KiB"):
        reading.read(tmp_path)


def test_a_large_file_of_a_word_processor_is_named_rather_than_its_size(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_bytes(b"{\\rtf1 " + b"-" * 300_000)
    with pytest.raises(Refused, match="is an RTF file"):
        reading.read(tmp_path)


def test_a_manifest_that_is_a_pipe_or_a_link_is_refused_unread(tmp_path: Path) -> None:
    (tmp_path / "real.toml").write_bytes(LEAST)
    for name, lay in (("pipe", os.mkfifo), ("link", lambda path: path.symlink_to(tmp_path / "real.toml"))):
        (tmp_path / name).mkdir()
        lay(tmp_path / name / "job.toml")
        with pytest.raises(Refused, match="no ordinary file"):
            reading.read(tmp_path / name)


@pytest.mark.parametrize("name", ["job.toml.txt", "JOB.TOML", "job (1).toml", "job.toml.toml", "job.txt", "van.toml"])
def test_a_manifest_of_another_name_is_read_and_told_as_mended(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(LEAST)
    manifest, (reason,) = reading.read_leniently(tmp_path)
    assert manifest == reading.parse(LEAST)
    assert (reason.code, reason.kind, reason.file) == ("manifest-renamed", "mended", name)


def test_a_file_that_is_no_manifest_is_not_said_to_be_read_as_one(tmp_path: Path) -> None:
    (tmp_path / "job.docx").write_bytes(b"PK\3\4" + b"-" * 30 + b"word/document.xml")
    manifest, (reason,) = reading.read_leniently(tmp_path)
    assert manifest is None and (reason.code, reason.file) == ("manifest-kind", "job.docx")


def test_errors_in_a_manifest_of_another_name_name_that_file(tmp_path: Path) -> None:
    (tmp_path / "job.toml.txt").write_bytes(LEAST + b"fit = 3\n")
    _, reasons = reading.read_leniently(tmp_path)
    assert {(r.file, r.field) for r in reasons if r.kind is Kind.REFUSE} == {("job.toml.txt", "fit")}


def test_a_later_copy_beside_the_manifest_is_not_passed_over_in_silence(tmp_path: Path) -> None:
    for name in ("job.toml", "job (1).toml", "van.toml", "job.txt"):
        (tmp_path / name).write_bytes(LEAST)
    manifest, (reason,) = reading.read_leniently(tmp_path)
    assert manifest == reading.parse(LEAST)
    assert (reason.code, reason.kind, reason.file) == ("manifest-left-out", "note", "job (1).toml")


def test_several_files_that_may_be_the_manifest_are_asked_about(tmp_path: Path) -> None:
    for name in ("job (1).toml", "job (2).toml"):
        (tmp_path / name).write_bytes(LEAST)
    manifest, (reason,) = reading.read_leniently(tmp_path)
    assert manifest is None and reason.code == "manifest-several"
    assert "job (1).toml, job (2).toml" in reason.what


@pytest.mark.parametrize("name", ["order.txt", "job.txt"])
def test_a_drop_whose_text_says_both_facts_otherwise_is_told_the_two_lines_to_paste(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("Customer: Fern Hollow Mobile Library\nIt is the tall 768 × 1024 radio.\n")
    manifest, (reason,) = reading.read_leniently(tmp_path, radios=("tall-768x1024", "wide-1024x600"))
    assert manifest is None and reason.code == "manifest-missing" and name in reason.what
    assert reason.mend.split("\n")[1:] == LEAST.decode().splitlines()


def test_a_manifest_of_another_language_is_told_the_two_lines_too(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text('{"customer": "Fern Hollow Mobile Library", "radio": "Tall 768x1024"}')
    _, (reason,) = reading.read_leniently(tmp_path, radios=("tall-768x1024",))
    assert reason.code == "manifest-unreadable" and reason.what.startswith("line 1 cannot be read")
    assert reason.mend.split("\n")[1:] == LEAST.decode().splitlines()


# -- what editors leave -----------------------------------------------------------------------------

CLEAN = """\
customer = "Café Farnhügel"
radio = "tall-768x1024"
rush = true
background = "#ffffff"
fit = "contain"
focus = [0.5, 0.25]

[motion]
fps = 12

[[part]]
art = "lamps/*.png"
plays = 2
pause = 0.5
there_and_back = true

[[part]]
plays = "until-booted"
[part.glide]
sprite = "ferry.png"
path = [[-0.15, 0.63], [1.15, 0.63]]
seconds = 2.5
size = [0.2, 0.45]
fade = [0.05, 0.1]
ease = "in-out"
"""
QUOTES = ["“”", "„“", "””", "«»", '"”', '“"', "″″"]


def _quoted_otherwise(text: str, quotes: str) -> str:
    return re.sub(r'"([^"\n]*)"', lambda found: quotes[0] + found[1] + quotes[1], text)


DAMAGES: list[Callable[[str], str]] = [
    *(partial(_quoted_otherwise, quotes=quotes) for quotes in QUOTES),
    lambda text: text.replace(" = ", "\xa0=\u202f"),
    lambda text: text.replace("Café Farnhügel", "Café\xa0Farn\u200bhügel"),
    lambda text: re.sub(r"^(\w+)(?= *=)", lambda found: found[1].upper(), text, flags=re.MULTILINE),
    lambda text: text.replace("[[part]]", "[[Part]]", 1).replace("[motion]", "[ Motion ]"),
    lambda text: text.replace("there_and_back", "There and Back"),
    lambda text: re.sub(r"(\d)\.(\d)", r"\1,\2", text),
    lambda text: text.replace("true", '"yes"'),
    lambda text: text.replace("= true", "= True"),
    lambda text: text.replace("#ffffff", "#FFF"),
    lambda text: text.replace("#ffffff", "White"),
    lambda text: text.replace("fps = 12", 'fps = "12"'),
    lambda text: text.replace("until-booted", "forever"),
    lambda text: text.replace("contain", "Contain"),
    lambda text: text.replace("lamps/*", "lamps\\*"),
    lambda text: text.replace("lamps/*", ".\\lamps\\\\*"),
]
"""What word processors, phones and hands make of a manifest: common practice, no source."""

LINE_ENDS = ["\n", "\r\n", "\r"]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "cp1252"]


@settings(deadline=None, max_examples=150)
@given(
    st.lists(st.sampled_from(DAMAGES), max_size=5, unique=True), st.sampled_from(LINE_ENDS), st.sampled_from(ENCODINGS)
)
def test_a_clean_manifest_damaged_in_any_combination_reads_as_the_clean_one(
    damages: list[Callable[[str], str]], line_end: str, encoding: str
) -> None:
    text = CLEAN
    for damage in damages:
        text = damage(text)
    data = text.replace("\n", line_end).encode(encoding, "replace")
    if encoding == "cp1252" and b"?" in data:
        data = text.replace("\n", line_end).encode()
    manifest, reasons = reading.parse_leniently(data)
    assert manifest == reading.parse(CLEAN.encode()), [reason.line() for reason in reasons]
    assert all(reason.kind is Kind.MENDED for reason in reasons)
    assert bool(reasons) >= (text != CLEAN), "what was mended is told"


def test_a_clean_manifest_is_read_without_a_word() -> None:
    assert reading.parse_leniently(CLEAN.encode())[1] == ()


@pytest.mark.parametrize(
    "data",
    [b'"' * 250_000, "“".encode() * 83_000, b"a = " + b"'," * 125_000, b'art = "a\\' * 25_000, b"a = 1,2\n" * 31_000,
     b"x = [" + b'"a", ' * 50_000, b"[" * 250_000, b"a b " * 60_000, b"\\" * 250_000, "\xa0".encode() * 125_000,
     b'x = """\n' + b"a." * 120_000 + b'\n"""\ny =', b"\xe9" * 250_000, b"a\0" * 125_000],
)  # fmt: skip
def test_hostile_text_of_a_quarter_mebibyte_is_bounded(data: bytes) -> None:
    """Each takes well under a second; a pass whose time grows with the square would take minutes."""
    _, reasons = reading.parse_leniently(data)
    assert any(reason.kind is Kind.REFUSE for reason in reasons)
    assert all(len(reason.line()) < 600 for reason in reasons)


def test_what_can_be_understood_is_kept_beside_the_errors() -> None:
    job, reasons = reading.parse_leniently(LEAST + b'backgroud = "x"\n[motion]\nfps = 12\nfinish = 7\n')
    assert job is not None
    assert job.motion.fps == 12
    assert job.motion.finish == 0.95
    assert [r.field for r in reasons] == ["motion.finish", "backgroud"]


@settings(deadline=None, max_examples=150)
@given(st.binary(max_size=200))
def test_no_bytes_bring_anything_but_a_manifest_or_reasons(data: bytes) -> None:
    for text in (data, LEAST + data):
        try:
            assert isinstance(reading.parse(text), Manifest)
        except Refused as refused_:
            assert refused_.reasons


toml_keys = st.sampled_from(["customer", "radio", "logo", "motion", "part", "art", "fps", "plays", "focus", "zzz"])
toml_values = st.recursive(
    st.one_of(
        st.booleans(), st.integers(-3, 70), st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=5)
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(toml_keys, inner, max_size=3)),
    max_leaves=8,
)


@settings(deadline=None, max_examples=200)
@given(st.dictionaries(toml_keys, toml_values, max_size=5))
def test_no_table_brings_anything_but_a_manifest_or_reasons(table: dict[str, object]) -> None:
    text = "\n".join(f"{key} = {_toml(value)}" for key, value in table.items())
    found, reasons = reading.parse_leniently(text.encode())
    assert (found is not None and not reasons) or reasons


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)
