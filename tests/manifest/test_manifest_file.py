"""One file of a folder is its manifest, whatever an editor or a browser made of its name."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.manifest.manifest_file import beside, candidates, in_folder, is_manifest_name

ART = ["0001.png", "logo.png", "job.schema.json", "notes.txt", "._job.toml", "~job.toml", ".job.toml"]


@pytest.mark.parametrize(
    "name",
    [
        "job.toml",
        "JOB.TOML",
        "Job.Toml",
        "job.toml.txt",
        "job (1).toml",
        "job (1).toml.txt",
        "job.toml.toml",
        "job-2.toml",
        "job copy.toml",
        "job - Kopie.toml",
        "Copy of job.toml",
        "job.tml",
        "job.toml (2).txt",
        "van-two.toml",
        "job.txt",
        "job.toml.rtf",
        "job.docx",
        "job.html",
        "ｊob.toml",
    ],
)
def test_one_file_called_like_a_manifest_is_taken(name: str) -> None:
    assert candidates([*ART, name]) == (name,)


@pytest.mark.parametrize(
    ("names", "taken"),
    [
        (["job.toml", "job (1).toml", "JOB.TOML"], ("job.toml",)),
        (["JOB.TOML", "job (1).toml"], ("JOB.TOML",)),
        (["job (1).toml", "van.toml", "job.txt"], ("job (1).toml",)),
        (["van.toml", "job.txt"], ("van.toml",)),
        (["a.toml", "b.toml"], ("a.toml", "b.toml")),
        (["job.toml.txt", "job (1).toml"], ("job (1).toml", "job.toml.txt")),
        ([], ()),
    ],
)
def test_the_nearest_name_is_taken_and_several_equally_near_are_all_told(
    names: list[str], taken: tuple[str, ...]
) -> None:
    assert candidates([*ART, *names]) == taken


def test_only_what_is_surely_meant_as_one_says_that_a_drop_has_its_manifest() -> None:
    """An artist's notes in job.txt may lie beside a job.toml that is still on its way."""
    assert is_manifest_name("job.toml.txt") and is_manifest_name("van.toml")
    assert not is_manifest_name("job.txt") and not is_manifest_name("._job.toml")


def test_what_lies_beside_the_manifest_and_is_called_like_it_is_listed(tmp_path: Path) -> None:
    for name in ("job.toml", "job (1).toml", "Job.toml.txt", "van.toml", "0001.png"):
        (tmp_path / name).touch()
    assert beside(tmp_path) == ("Job.toml.txt", "job (1).toml")


def test_a_folder_of_that_name_is_no_manifest(tmp_path: Path) -> None:
    (tmp_path / "job.toml").mkdir()
    assert in_folder(tmp_path) == () and in_folder(tmp_path / "none") == ()
