"""The records beside a drop in work lead nowhere else, whatever a damaged disk returns."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pydantic import ValidationError

from keyturn.service.claims import Claim, Intent, name_in, read_record, write_record

CLAIM = Claim(id="20260301T093000-abc123-van", name="van", form="folder", claimed_at="2026-03-01T09:30:00+00:00")


def test_a_record_is_read_as_it_was_written(tmp_path: Path) -> None:
    for record in (CLAIM, Intent(target="fern-hollow-mobile-library/van-r1")):
        write_record(tmp_path / "record.json", record)
        assert read_record(tmp_path / "record.json", type(record)) == record
    assert [p.name for p in tmp_path.iterdir()] == ["record.json"]


@pytest.mark.parametrize("data", [b"", b"{", b"[]", b"null", b"\xff\xfe", b'{"target": 7}', b'{"target": ""}'])
def test_what_is_no_record_is_read_as_none(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "publish.json").write_bytes(data)
    assert read_record(tmp_path / "publish.json", Intent) is None
    assert read_record(tmp_path / "missing.json", Intent) is None
    assert read_record(tmp_path / "publish.json" / "below.json", Intent) is None


@pytest.mark.parametrize("target", ["../van-r1", "c/../../van-r1", "/etc", "c//van-r1", "c/.", ".", "c/van\0"])
def test_a_target_cannot_lead_out_of_its_folder(tmp_path: Path, target: str) -> None:
    """path_resolution(7): "." and ".." are folders of their own, and a name that begins with "/" starts at the root."""
    (tmp_path / "publish.json").write_text(json.dumps({"target": target}))
    assert read_record(tmp_path / "publish.json", Intent) is None


@pytest.mark.parametrize("field", ["id", "name"])
@pytest.mark.parametrize("value", ["a/b", "..", "", "a\0b"])
def test_a_claims_id_and_name_are_single_names(field: str, value: str) -> None:
    with pytest.raises(ValidationError):
        Claim.model_validate(CLAIM.model_dump() | {field: value})


@pytest.mark.parametrize(
    ("claim_id", "name"),
    [
        ("20260301T093000-abc123-van", "van"),
        ("20260301T093000-abc123-", "20260301T093000-abc123-"),
        ("20260301T093000-abc123-..", "20260301T093000-abc123-.."),
        ("van", "van"),
    ],
)
def test_a_claim_s_id_holds_the_drop_s_name(claim_id: str, name: str) -> None:
    assert name_in(claim_id) == name
