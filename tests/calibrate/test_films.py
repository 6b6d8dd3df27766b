"""From files to a lesson: every film is read by the crew, and every fault told at once."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from calibration_samples import ADDITIVE, DAY
from film_series import read_series, write_film
from keyturn.calibrate import films
from keyturn.calibrate.films import learn_from_files
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import InlineCrew

INTAKE = rulebook.load().intake


@pytest.fixture(autouse=True)
def series(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(films, "read_film", read_series)


def test_films_are_read_learnt_from_and_stored_with_their_digests(tmp_path: Path) -> None:
    named = {f"s{n}.mp4": write_film(tmp_path / f"s{n}.mp4", n, boot_ms=12_930 + 700 * n) for n in (0, 1)}
    lesson = learn_from_files(ADDITIVE, named, INTAKE, InlineCrew())
    assert lesson.digests == {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in named.items()}
    stored = lesson.store(tmp_path / "rules", ADDITIVE, on=DAY)
    assert lesson.kept(stored) == f"2 added to 0 kept (0 older removed) in rules/radios/{ADDITIVE.name}.toml"
    filmed = rulebook.load(tmp_path / "rules").radios[ADDITIVE.name].filmed
    assert filmed and filmed.films == tuple(digest[:16] for digest in lesson.digests.values())


def test_the_faults_of_all_films_are_told(tmp_path: Path) -> None:
    named = {name: tmp_path / name for name in ("a.mp4", "b.mp4")}
    for path in named.values():
        path.write_bytes(b"no film")
    with pytest.raises(Refused) as caught:
        learn_from_files(ADDITIVE, named, INTAKE, InlineCrew())
    assert [reason.file for reason in caught.value.reasons] == ["a.mp4", "b.mp4"]
