"""Films that are cut short or promise more than they hold."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from film_samples import film, pictures
from keyturn.normalize.reading import film_completeness
from keyturn.normalize.reading.picture_faults import Broken
from normalize.reading.test_films import VP9, refusal


@pytest.mark.parametrize("name", ["van.mp4", "van.mov", "van.webm"])
def test_a_film_cut_short_anywhere_is_refused(tmp_path: Path, name: str) -> None:
    way = VP9 if name.endswith("webm") else {}
    path = film(tmp_path / name, pictures(6), **way)  # type: ignore[arg-type]
    whole = path.read_bytes()
    for share in (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99):
        path.write_bytes(whole[: int(len(whole) * share)])
        assert refusal(path) in ("picture-broken", "picture-unknown")
    path.write_bytes(whole[:-1])
    assert refusal(path) == "picture-broken"


def test_an_index_that_promises_more_than_the_file_holds_is_refused(tmp_path: Path) -> None:
    """All boxes whole, as after a copy that filled up with nothing; the pictures end in the middle."""
    path = film(tmp_path / "van.mp4", pictures(6))
    whole = path.read_bytes()
    at = whole.index(b"mdat") - 4
    size = int.from_bytes(whole[at : at + 4], "big")
    hollow = whole[: at + 8 + size // 2] + bytes(size - 8 - size // 2) + whole[at + size :]
    assert len(hollow) == len(whole)
    path.write_bytes(hollow)
    assert refusal(path) == "picture-broken"


def test_boxes_know_a_whole_film_from_a_part(tmp_path: Path) -> None:
    whole = film(tmp_path / "van.mp4", pictures(2)).read_bytes()
    film_completeness.check(io.BytesIO(whole), "MP4")
    with pytest.raises(Broken):
        film_completeness.check(io.BytesIO(whole[:-5]), "MP4")
