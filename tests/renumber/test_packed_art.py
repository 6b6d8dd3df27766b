"""Art that came packed beside job.toml; and drops whose job.toml may be inside an archive."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.pipeline import Bench, Job, understand
from keyturn.shop.reasons import Kind, Refused
from samples import picture

HEAD = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n'
RAR = b"Rar!\x1a\x07\x01\0" + bytes(99)


def png(number: int) -> bytes:
    file = io.BytesIO()
    picture((48, 64), number).save(file, "PNG")
    return file.getvalue()


def zipped(*names: str) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for number, name in enumerate(names):
            archive.writestr(name, png(number))
    return file.getvalue()


@pytest.fixture
def sent(tmp_path: Path, bench: Bench) -> Callable[..., Job]:
    def understood(files: dict[str, bytes], text: str | None = HEAD) -> Job:
        drop, scratch = tmp_path / "drop", tmp_path / "scratch"
        drop.mkdir()
        scratch.mkdir()
        manifest = {} if text is None else {"job.toml": text.encode()}
        for name, data in (manifest | files).items():
            (drop / name).parent.mkdir(exist_ok=True)
            (drop / name).write_bytes(data)
        return understand(drop, "van", scratch, bench)

    return understood


def refusals(sent: Callable[..., Job], *args: object) -> list[tuple[str, str | None, str]]:
    with pytest.raises(Refused) as caught:
        sent(*args)
    return [(r.code, r.file, f"{r.what} -> {r.mend}") for r in caught.value.reasons if r.kind is Kind.REFUSE]


def names(job: Job) -> list[tuple[str, ...]]:
    return [part.names for part in job.art.parts if part.hold_of is None]


def test_a_zip_beside_job_toml_is_unpacked_where_it_lies(sent: Callable[..., Job]) -> None:
    job = sent({"art.zip": zipped("art/1.png", "art/2.png"), "logo.png": png(9)})
    assert names(job) == [("1.png", "2.png")] and job.art.logo == "logo.png"
    assert [(r.code, r.file) for r in job.reasons] == [("archive-unpacked", "art.zip")]
    assert job.found.files == ("art.zip", "job.toml", "logo.png"), "the digest is that of what was sent"


def test_of_several_each_gets_a_folder_of_its_name(sent: Callable[..., Job]) -> None:
    job = sent({"day.zip": zipped("1.png", "2.png"), "night.zip": zipped("1.png", "2.png")})
    assert names(job) == [("day/1.png", "day/2.png"), ("night/1.png", "night/2.png")]


def test_beside_other_pictures_a_zip_is_left_out_and_told(sent: Callable[..., Job]) -> None:
    job = sent({"old.zip": zipped("1.png", "2.png"), "1.png": png(1), "2.png": png(2)})
    assert names(job) == [("1.png", "2.png")]
    assert [(r.code, r.file, r.kind) for r in job.reasons] == [("archive-left-out", "old.zip", Kind.NOTE)]


def test_a_file_that_lies_in_both_is_asked_about(sent: Callable[..., Job]) -> None:
    ((code, file, _),) = refusals(sent, {"art.zip": zipped("logo.png", "1.png"), "logo.png": png(9)})
    assert (code, file) == ("archive-doubles", "logo.png")


def test_a_damaged_zip_beside_job_toml_is_refused_as_one(sent: Callable[..., Job]) -> None:
    ((code, file, _),) = refusals(sent, {"art.zip": zipped("1.png")[:-30]})
    assert (code, file) == ("zip-broken", "art.zip")


@pytest.mark.parametrize("text", [HEAD, None], ids=["with job.toml", "without"])
@pytest.mark.parametrize("name", ["art.rar", "art.zip"])
def test_an_archive_of_another_kind_is_named_with_the_way_out(
    sent: Callable[..., Job], name: str, text: str | None
) -> None:
    told = refusals(sent, {name: RAR}, text)
    assert told == [
        ("picture-kind", name, "is a RAR archive -> unpack it and send the folder, or a zip of it"),
    ]


def test_two_zips_without_job_toml_are_asked_about(sent: Callable[..., Job]) -> None:
    ((code, file, text),) = refusals(sent, {"day.zip": zipped("1.png"), "night.zip": zipped("1.png")}, None)
    assert (code, file) == ("archives-without-manifest", "day.zip")
    assert "day.zip, night.zip -> send each as a drop of its own, or put a job.toml beside them" in text


def test_a_picture_that_came_alone_is_told_so(sent: Callable[..., Job]) -> None:
    told = refusals(sent, {"lamp.png": png(1)}, None)
    mend = "put it into a folder with a job.toml that names customer and radio"
    assert told == [("file-alone", "lamp.png", f"came alone, without a job.toml -> {mend}")]


def test_a_working_file_that_came_alone_is_told_its_kind_first(sent: Callable[..., Job]) -> None:
    ((code, file, text),) = refusals(sent, {"lamp.kra": b"PK\3\4"}, None)
    assert (code, file) == ("file-alone", "lamp.kra")
    assert text.startswith("is a Krita file -> in the program: File, Export, PNG")


def test_files_that_are_still_in_a_cloud_are_the_only_reason(sent: Callable[..., Job]) -> None:
    told = refusals(sent, {"1.png": png(1), ".2.png.icloud": b"bplist00", "3.png": b"broken"})
    assert [(code, file) for code, file, _ in told] == [("still-in-cloud", "2.png")]
