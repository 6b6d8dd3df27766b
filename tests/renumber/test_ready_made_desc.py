"""desc.txt of a ready-made archive, with the usual slips of hand-made ones put right."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.radio.desc import parse
from keyturn.renumber.ready_made_desc import MOST_NOTED, desc_files, read_desc
from keyturn.shop.reasons import Kind, Refused

TEXT = "48 64 12\np 1 0 part0\np 0 0 part1\n"
SOUND = parse(TEXT.encode()).desc


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (TEXT.encode(), []),
        (TEXT.encode("utf-8-sig"), ["began with a byte-order mark"]),
        (TEXT.encode("utf-16"), ["was saved as UTF-16"]),
        (TEXT.replace("\n", "\r\n").encode(), ["had line ends of another system"]),
        (TEXT.replace("\n", "\r").encode(), ["had line ends of another system"]),
        (TEXT.rstrip("\n").encode(), ["had no end of line after its last row"]),
    ],
)
def test_slips_of_editors_are_put_right_and_told(tmp_path: Path, data: bytes, told: list[str]) -> None:
    """Python's own codecs write the spoilt files; the sound text is what they were made from."""
    (tmp_path / "desc.txt").write_bytes(data)
    read, reasons = read_desc(tmp_path, "a.zip")
    assert read == SOUND
    assert [r.code for r in reasons] == ["desc-mended"] * len(told)
    assert all(part in r.what for part, r in zip(told, reasons, strict=True))
    assert {r.file for r in reasons} <= {"a.zip"}


def test_the_likeliest_name_is_read_and_another_is_told(tmp_path: Path) -> None:
    for name in ("DESC", "Desc.txt.txt", "desc.txt"):
        (tmp_path / name).write_text(TEXT)
    (tmp_path / "notes.txt").touch()
    assert [p.name for p in desc_files(tmp_path)] == ["desc.txt", "Desc.txt.txt", "DESC"]
    (tmp_path / "desc.txt").unlink()
    (reason,) = read_desc(tmp_path, "a.zip")[1]
    assert (reason.code, reason.kind) == ("desc-renamed", Kind.MENDED) and "Desc.txt.txt" in reason.what


@pytest.mark.parametrize(
    ("text", "code"), [(None, "desc-missing"), ("", "desc-unreadable"), ("48 64 12\n", "desc-unreadable")]
)
def test_without_size_or_rows_it_is_refused(tmp_path: Path, text: str | None, code: str) -> None:
    if text is not None:
        (tmp_path / "desc.txt").write_text(text)
    with pytest.raises(Refused) as caught:
        read_desc(tmp_path, "a.zip")
    assert code in [r.code for r in caught.value.reasons if r.kind is Kind.REFUSE]


def test_a_large_one_is_refused_before_it_is_read_line_by_line(tmp_path: Path) -> None:
    (tmp_path / "desc.txt").write_text(TEXT + "p 1 0 part0\n" * 200)
    assert read_desc(tmp_path, "a.zip", max_kib=4)[0].rows
    with pytest.raises(Refused) as caught:
        read_desc(tmp_path, "a.zip", max_kib=2)
    assert [r.code for r in caught.value.reasons] == ["desc-too-large"]


def test_of_very_many_odd_lines_the_first_are_noted_and_the_rest_counted(tmp_path: Path) -> None:
    (tmp_path / "desc.txt").write_text(TEXT + "x\n" * 1000)
    reasons = read_desc(tmp_path, "a.zip")[1]
    assert len(reasons) == MOST_NOTED + 1
    assert "980 more lines" in reasons[-1].what
