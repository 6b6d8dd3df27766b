"""Any bytes give either a manifest or the reasons why there is none."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.manifest import reading
from keyturn.manifest.models import Manifest
from keyturn.shop.reasons import Refused
from manifest_samples import LEAST, refused


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
    assert reading.parse(b"\xef\xbb\xbf" + LEAST).customer.startswith("Fern")


def test_a_manifest_of_megabytes_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_bytes(LEAST + b"#" * 300_000)
    with pytest.raises(Refused, match="larger than 256 KiB"):
        reading.read(tmp_path)


def test_a_manifest_that_is_a_pipe_or_a_link_is_refused_unread(tmp_path: Path) -> None:
    (tmp_path / "real.toml").write_bytes(LEAST)
    for name, lay in (("pipe", os.mkfifo), ("link", lambda path: path.symlink_to(tmp_path / "real.toml"))):
        (tmp_path / name).mkdir()
        lay(tmp_path / name / "job.toml")
        with pytest.raises(Refused, match="no ordinary file"):
            reading.read(tmp_path / name)


def test_a_near_miss_of_the_file_name_is_named(tmp_path: Path) -> None:
    (tmp_path / "job.toml.txt").write_bytes(LEAST)
    with pytest.raises(Refused, match=r"rename job\.toml\.txt to job\.toml"):
        reading.read(tmp_path)


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
