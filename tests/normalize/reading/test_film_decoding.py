"""The pass through a film's file: how much of it is decoded, and which files it reads."""

from __future__ import annotations

from pathlib import Path

import pytest

from film_samples import film, pictures
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.reading.film_decoding import FilmPass
from normalize.reading.test_films import INTAKE, refusal


def test_only_the_stretch_that_is_wanted_is_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = film(tmp_path / "van.mp4", pictures(60), keyframes=10)
    straight, seen = FilmPass._decoded, []

    def counted(self: FilmPass) -> object:
        for frame in straight(self):
            seen.append(frame.pts)
            yield frame

    with Clip(path, INTAKE, "van.mp4") as clip:
        monkeypatch.setattr(FilmPass, "_decoded", counted)
        for index in range(41, 50):
            clip.frame(index)
    assert len(seen) == 10  # from keyframe 40 to frame 49, each once


def test_a_film_of_keyframes_is_opened_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = film(tmp_path / "van.mp4", pictures(40), keyframes=1)
    opened: list[int] = []
    straight = FilmPass.__init__
    monkeypatch.setattr(FilmPass, "__init__", lambda self, *about: (opened.append(1), straight(self, *about))[1])
    with Clip(path, INTAKE, "van.mp4") as clip:
        before = len(opened)
        for index in range(0, 40, 3):
            clip.frame(index)
    assert len(opened) == before


def test_a_film_of_too_many_pixels_is_refused_by_its_header(tmp_path: Path) -> None:
    path = film(tmp_path / "van.mp4", pictures(2))
    caps = INTAKE.caps.model_copy(update={"clip_mpx": 0.003})
    assert refusal(path, INTAKE.model_copy(update={"caps": caps})) == "picture-too-large"


def test_a_codec_that_is_not_named_in_the_rules_is_refused(tmp_path: Path) -> None:
    path = film(tmp_path / "van.mp4", pictures(2))
    formats = INTAKE.formats.model_copy(update={"codecs": ("vp9",)})
    assert refusal(path, INTAKE.model_copy(update={"formats": formats})) == "film-codec"


def test_lists_of_other_films_are_no_films(tmp_path: Path) -> None:
    """Playlists (ffconcat, M3U8) would name other files; no demuxer that follows them is ever asked."""
    path = tmp_path / "van.mp4"
    canary = film(tmp_path / "canary.mp4", pictures(2))
    for text in (f"ffconcat version 1.0\nfile {canary}\n", f"#EXTM3U\n#EXTINF:1,\n{canary}\n", f"file {canary}\n"):
        path.write_text(text)
        assert refusal(path) == "picture-unknown"
        path.write_bytes(b"\0\0\0\x10ftypisom\0\0\0\0" + text.encode())
        assert refusal(path) == "picture-broken"
