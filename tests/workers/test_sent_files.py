"""Which files travel inside a message of jobs, and which the cluster keeps for several."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.workers import sent_files
from keyturn.workers.sent_files import MessageFiles, SentFiles


@pytest.fixture
def handed() -> list[bytes]:
    """What the cluster was given beforehand."""
    return []


@pytest.fixture
def sent(handed: list[bytes], monkeypatch: pytest.MonkeyPatch) -> SentFiles:
    monkeypatch.setattr(sent_files, "LARGE_BYTES", 10)
    monkeypatch.setattr(sent_files, "REMEMBERED", 2)

    def hand_over(data: bytes) -> int:
        handed.append(data)
        return len(handed)

    return SentFiles(hand_over)


def added(sent: SentFiles, path: Path) -> MessageFiles:
    files = MessageFiles()
    name = sent.add(path, files)
    assert name.endswith(path.suffix) and name in {*files.inside, *files.kept}
    return files


def written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def test_a_small_file_goes_inside_its_first_message_and_then_to_the_cluster_once(
    sent: SentFiles, handed: list[bytes], tmp_path: Path
) -> None:
    path = written(tmp_path / "a.png", b"small")
    assert list(added(sent, path).inside.values()) == [b"small"] and handed == []
    for _ in range(3):
        assert list(added(sent, path).kept.values()) == [1]
    assert handed == [b"small"]


def test_a_file_of_several_jobs_in_one_message_is_sent_with_it_once(
    sent: SentFiles, handed: list[bytes], tmp_path: Path
) -> None:
    path, files = written(tmp_path / "under.png", b"small"), MessageFiles()
    assert len({sent.add(path, files) for _ in range(3)}) == 1
    assert list(files.inside.values()) == [b"small"] and files.kept == {} and handed == []


def test_a_large_file_goes_to_the_cluster_at_once(sent: SentFiles, handed: list[bytes], tmp_path: Path) -> None:
    path = written(tmp_path / "a.gif", b"x" * 11)
    assert added(sent, path).inside == {} and added(sent, path).inside == {}
    assert handed == [b"x" * 11]


def test_a_file_that_changed_is_another_one(sent: SentFiles, tmp_path: Path) -> None:
    path = written(tmp_path / "a.png", b"small")
    (first,) = added(sent, path).inside
    written(path, b"changed")
    (second,) = added(sent, path).inside
    assert first != second


def test_what_is_forgotten_or_was_sent_long_ago_is_sent_anew(sent: SentFiles, tmp_path: Path) -> None:
    paths = [written(tmp_path / f"{n}.png", bytes([n])) for n in range(3)]
    for path in paths:
        added(sent, path)
    assert added(sent, paths[0]).inside, "a third file came after it"
    assert added(sent, paths[2]).kept
    sent.forget()
    assert added(sent, paths[2]).inside
