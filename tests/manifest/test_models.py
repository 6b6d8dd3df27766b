"""job.toml: defaults a person would guess, every error at once, in the artist's words."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.manifest import models
from keyturn.manifest.models import Manifest
from keyturn.shop.reasons import Reason, Refused

LEAST = b'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\n'


def refused(data: bytes) -> dict[str, Reason]:
    with pytest.raises(Refused) as caught:
        models.parse(data)
    return {str(r.field): r for r in caught.value.reasons}


def test_two_lines_are_a_manifest() -> None:
    job = models.parse(LEAST)
    assert job.customer == "Fern Hollow Mobile Library"
    assert job.radio == ("tall-768x1024",)
    assert (job.fit, job.focus, job.ground, job.rush) == ("cover", (0.5, 0.5), (0, 0, 0), False)
    assert (job.motion.fps, job.motion.finish) == ("auto", 0.95)
    assert job.part == ()


def test_the_whole_manifest_of_the_design_is_read() -> None:
    job = models.parse(
        LEAST
        + b"""
job = "van-two"
artist = "Ines"
rush = true
background = "#0B1D2A"
fit = "contain"
focus = [0.5, 0.4]
[logo]
art = "logo.png"
[motion]
fps = 12
finish = 0.9
[[part]]
art = "lamps/*.png"
plays = 1
pause = 0.5
[[part]]
art = "lamps/0048.png"
plays = "until-booted"
"""
    )
    assert job.ground == (0x0B, 0x1D, 0x2A)
    assert job.part[0].pause == 0.5
    assert job.part[1].plays == "until-booted"


def test_one_radio_or_several() -> None:
    assert models.parse(LEAST.replace(b'"tall-768x1024"', b'["a", "b"]')).radio == ("a", "b")
    assert "radio" in refused(LEAST.replace(b'"tall-768x1024"', b'["a", "a"]'))


def test_every_error_is_told_at_once_each_with_its_field() -> None:
    found = refused(
        b'custmer = "F"\nradio = "x"\nfit = "stretch"\nbackground = "red"\n'
        b'[motion]\nfps = "fast"\n[[part]]\nart = "a/*"\nplays = 0\npause = -1\n'
    )
    assert set(found) == {
        "customer", "custmer", "fit", "background", "motion.fps", "part.1.plays", "part.1.pause",
    }  # fmt: skip
    assert all(r.mend and r.file == "job.toml" for r in found.values())


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        (b'backgroud = "#000000"', '"background"'),
        (b"Rush = true", '"rush"'),
        (b"fps = 12", "[motion]"),
        (b'plays = "until-booted"', "[part]"),
    ],
)
def test_an_unknown_key_names_the_nearest_or_where_it_belongs(line: bytes, hint: str) -> None:
    (reason,) = refused(LEAST + line).values()
    assert reason.code == "manifest-key-unknown"
    assert hint in reason.mend


@pytest.mark.parametrize("art", ["../secret.png", "/etc/passwd", "a\\\\b.png", "**/*.png"])
def test_art_stays_inside_the_drop(art: str) -> None:
    assert "part.1.art" in refused(LEAST + f'[[part]]\nart = "{art}"\n'.encode())


@pytest.mark.parametrize(
    "data",
    [
        b"customer = ",
        b"\xff\xfe",
        b"a = " + b"[" * 5000,
        b'customer = "x"\ncustomer = "y"',
        b"fps = " + b"9" * 10_000,
    ],
)
def test_what_is_not_toml_is_refused_with_one_clear_reason(data: bytes) -> None:
    (reason,) = refused(data).values()
    assert reason.code == "manifest-unreadable"


def test_a_byte_order_mark_is_forgiven() -> None:
    assert models.parse(b"\xef\xbb\xbf" + LEAST).customer.startswith("Fern")


def test_a_manifest_of_megabytes_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_bytes(LEAST + b"#" * 300_000)
    with pytest.raises(Refused, match="larger than 256 KiB"):
        models.read(tmp_path)


def test_a_manifest_that_is_a_pipe_or_a_link_is_refused_unread(tmp_path: Path) -> None:
    (tmp_path / "real.toml").write_bytes(LEAST)
    for name, lay in (("pipe", os.mkfifo), ("link", lambda path: path.symlink_to(tmp_path / "real.toml"))):
        (tmp_path / name).mkdir()
        lay(tmp_path / name / "job.toml")
        with pytest.raises(Refused, match="no ordinary file"):
            models.read(tmp_path / name)


def test_a_near_miss_of_the_file_name_is_named(tmp_path: Path) -> None:
    (tmp_path / "job.toml.txt").write_bytes(LEAST)
    with pytest.raises(Refused, match=r"rename job\.toml\.txt to job\.toml"):
        models.read(tmp_path)


def test_what_can_be_understood_is_kept_beside_the_errors() -> None:
    job, reasons = models.parse_leniently(LEAST + b'backgroud = "x"\n[motion]\nfps = 12\nfinish = 7\n')
    assert job is not None
    assert job.motion.fps == 12
    assert job.motion.finish == 0.95
    assert [r.field for r in reasons] == ["motion.finish", "backgroud"]


def test_the_shipped_schema_is_the_models_own() -> None:
    """JSON Schema 2020-12, as pydantic writes it; editors complete job.toml from it."""
    shipped = Path(models.__file__).with_name("job.schema.json").read_text(encoding="utf-8")
    assert shipped == models.schema_text(), "run: python -m keyturn.manifest.models"
    assert json.loads(shipped)["required"] == ["customer", "radio"]


@settings(deadline=None, max_examples=150)
@given(st.binary(max_size=200))
def test_no_bytes_bring_anything_but_a_manifest_or_reasons(data: bytes) -> None:
    for text in (data, LEAST + data):
        try:
            assert isinstance(models.parse(text), Manifest)
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
    found, reasons = models.parse_leniently(text.encode())
    assert (found is not None and not reasons) or reasons


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)
