"""A drop with a table orders one job a row; every faulty row is told at once, with its cell."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from keyturn import pipeline
from keyturn.pipeline import Bench, Job
from keyturn.pipeline.fleet import FleetJobs, ordered
from keyturn.shop.reasons import Kind, Reason, Refused, only
from samples import Drop, picture

HEAD = 'each = "fleet.csv"\ncustomer = "Fern Hollow"\nradio = "tiny"\n'
GLIDE = '[[part]]\nart = "lamps/*.png"\n[[part]]\n[part.glide]\nframes = 4\npath = [[0.5, 0.5]]\ntext = "{van}"\n'


def laid(drop: Drop, table: list[list[str]], manifest: str = HEAD, name: str = "vans") -> Path:
    root = drop(name, frames=3, manifest=manifest)
    text = io.StringIO()
    csv.writer(text, delimiter=";").writerows(table)
    (root / "fleet.csv").write_text(text.getvalue(), encoding="utf-8-sig")
    return root


@pytest.fixture
def scratch(tmp_path: Path) -> Path:
    place = tmp_path / "scratch"
    place.mkdir()
    return place


def jobs_of(root: Path, scratch: Path, bench: Bench) -> FleetJobs:
    found = ordered(pipeline.opened(root, scratch, bench.rules), "vans", scratch, bench)
    assert isinstance(found, FleetJobs)
    return found


def refused(root: Path, scratch: Path, bench: Bench) -> tuple[Reason, ...]:
    with pytest.raises(Refused) as caught:
        jobs_of(root, scratch, bench)
    return only(caught.value.reasons, Kind.REFUSE)


def planned(jobs: FleetJobs, scratch: Path, bench: Bench) -> list[Job]:
    made = []
    for row in jobs.rows:
        place = scratch / f"job-{row.number}"
        place.mkdir()
        made.append(jobs.job(row, place, bench))
    return made


def test_a_drop_without_a_table_is_one_job(drop: Drop, scratch: Path, bench: Bench) -> None:
    found = ordered(pipeline.opened(drop(), scratch, bench.rules), "van", scratch, bench)
    assert isinstance(found, Job) and found.name == "van" and found.row == 0


def test_each_row_is_the_job_that_a_drop_of_its_own_would_be(drop: Drop, scratch: Path, bench: Bench) -> None:
    """The plans are those of `pipeline.understand` for the same files with the cells typed into job.toml."""
    rows = [["van-one", "Fern"], ["van-two", "Ada's bus"], ["van-three", "Łódź"]]
    root = laid(drop, [["job", "van"], *rows], HEAD + GLIDE)
    jobs = planned(jobs_of(root, scratch, bench), scratch, bench)
    for number, ((name, van), job) in enumerate(zip(rows, jobs, strict=True)):
        text = HEAD.partition("\n")[2] + f'job = "{name}"\n' + GLIDE.replace("{van}", van)
        alone = drop(f"alone-{number}", frames=3, manifest=text)
        own = tmp(scratch, number)
        wanted = pipeline.understand(pipeline.opened(alone, own, bench.rules), "vans", own, bench)
        assert job.manifest == wanted.manifest and job.name == wanted.name
        assert [part.row for part in job.plans[0].parts] == [part.row for part in wanted.plans[0].parts]
        figures = [source.figures for part in job.plans[0].parts for source in part.sources]
        assert figures == [source.figures for part in wanted.plans[0].parts for source in part.sources]
        assert any(figures)
        assert job.row == number + 2


def tmp(scratch: Path, number: int) -> Path:
    place = scratch / f"alone-{number}"
    place.mkdir()
    return place


def test_all_faulty_rows_are_told_at_once_with_their_cells(drop: Drop, scratch: Path, bench: Bench) -> None:
    manifest = HEAD + '[[part]]\nart = "{picture}"\n'
    table = [
        ["job", "radio", "picture", "background"],
        ["one", "tiny", "lamps/0001.png", ""],
        ["two", "tinny", "lamps/0001.png", ""],
        ["three", "tiny", "lamps/0009.png", ""],
        ["four", "tiny", "lamps/0001.png", "grreen"],
        ["FOUR", "tiny", "lamps/0002.png", ""],
        ["five", "tiny", "../../etc/passwd", "navy"],
        ["", "", "", ""],
        ["six", "", "lamps/0001.png", "#fff"],
    ]
    found = {(reason.code, reason.field): reason for reason in refused(laid(drop, table, manifest), scratch, bench)}
    assert set(found) == {
        ("radio-unknown", "B3"),
        ("part-empty", "C4"),
        ("manifest-value", "D5"),
        ("fleet-rows-alike", "A5"),
        ("fleet-rows-alike", "A6"),
        ("manifest-value", "C7"),
    }
    assert {reason.file for reason in found.values()} == {"fleet.csv"}
    told = found["part-empty", "C4"].what
    assert told.startswith('row 4, "picture": ') and "lamps/0009.png" in told
    assert "row 6" in found["fleet-rows-alike", "A5"].what and "row 5" in found["fleet-rows-alike", "A6"].what


def test_what_is_wrong_with_every_row_is_told_once(drop: Drop, scratch: Path, bench: Bench) -> None:
    manifest = HEAD + '[[part]]\nart = "lampes/*.png"\nplays = "often"\n'
    reasons = refused(laid(drop, [["job"], *([f"van-{n}"] for n in range(20))], manifest), scratch, bench)
    assert {(reason.field, reason.file) for reason in reasons} == {
        ("part.1.art", "job.toml"),
        ("part.1.plays", "job.toml"),
    }
    assert len(reasons) == 2 and not any("row" in reason.what for reason in reasons)


def test_what_is_wrong_with_job_toml_itself_does_not_hide_the_rows(drop: Drop, scratch: Path, bench: Bench) -> None:
    manifest = HEAD.replace('"tiny"', '"{radyo}"') + GLIDE
    reasons = refused(laid(drop, [["job", "radio", "van"], ["", "tiny", "x"]], manifest), scratch, bench)
    codes = [(reason.code, reason.field) for reason in reasons]
    assert ("fleet-name-unknown", "radio") in codes
    (unknown,) = [reason for reason in reasons if reason.code == "fleet-name-unknown"]
    assert unknown.mend == "did you mean {radio}?"


def test_rows_of_one_name_are_told_where_no_column_names_the_job(drop: Drop, scratch: Path, bench: Bench) -> None:
    (reason, *others) = refused(laid(drop, [["vehicle"], ["Van 1"], ["Van 2"]]), scratch, bench)
    assert reason.code == "fleet-rows-alike" and 'job = "{vehicle}"' in reason.mend
    assert len(others) <= 1


def test_letters_that_no_typeface_has_are_told_at_their_cell(drop: Drop, scratch: Path, bench: Bench) -> None:
    table = [["job", "van"], ["one", "Fern"], ["two", "F\U0001f68cn"]]
    reasons = refused(laid(drop, table, HEAD + GLIDE), scratch, bench)
    assert [(reason.code, reason.field) for reason in reasons] == [("letters-missing", "B3")]


def test_with_each_good_the_right_rows_go_on(drop: Drop, scratch: Path, bench: Bench) -> None:
    table = [["job", "radio"], ["one", "tiny"], ["two", "tinny"], ["three", "tiny"]]
    found = jobs_of(laid(drop, table, HEAD + "each_good = true\n"), scratch, bench)
    assert [row.number for row in found.rows] == [2, 4] and set(found.faults) == {3}
    reasons = refused(laid(drop, [table[0], table[2]], HEAD + "each_good = true\n", "none"), scratch / "..", bench)
    assert [reason.field for reason in reasons] == ["B2"]


def test_a_picture_that_another_row_uses_is_not_unused(drop: Drop, scratch: Path, bench: Bench) -> None:
    manifest = HEAD + '[[part]]\nart = "lamps/{lamp}.png"\n'
    root = laid(drop, [["job", "lamp"], ["one", "0001"], ["two", "0002"]], manifest)
    notes = [
        {r.what for r in job.reasons if r.code == "art-unused"}
        for job in planned(jobs_of(root, scratch, bench), scratch, bench)
    ]
    assert notes == [{"in the drop but not in the job: lamps/0003.png"}] * 2


@pytest.mark.parametrize(
    ("each", "code"),
    [('"fleets.csv"', "fleet-missing"), ("3", "manifest-value"), ('"../fleet.csv"', "manifest-value")],
)
def test_a_table_that_is_not_there_is_told(drop: Drop, scratch: Path, bench: Bench, each: str, code: str) -> None:
    root = laid(drop, [["job"], ["one"]], HEAD.replace('"fleet.csv"', each))
    assert [reason.code for reason in refused(root, scratch, bench)] == [code]


def test_an_archive_of_art_is_unpacked_once_for_all_rows(drop: Drop, scratch: Path, bench: Bench) -> None:
    import zipfile

    root = laid(drop, [["job"], ["one"], ["two"]])
    with zipfile.ZipFile(root / "art.zip", "w") as packed:
        for path in sorted((root / "lamps").iterdir()):
            packed.write(path, f"lamps/{path.name}")
            path.unlink()
    (root / "lamps").rmdir()
    jobs = planned(jobs_of(root, scratch, bench), scratch, bench)
    assert [len(job.art.probes) for job in jobs] == [3, 3]
    assert len(list(scratch.rglob("0001.png"))) == 1


def test_a_logo_may_differ_from_row_to_row(drop: Drop, scratch: Path, bench: Bench) -> None:
    root = laid(drop, [["job", "face"], ["one", "a"], ["two", "b"]], HEAD + '[logo]\nart = "{face}.png"\n')
    for name in ("a", "b"):
        picture((48, 64), 9).save(root / f"{name}.png")
    jobs = planned(jobs_of(root, scratch, bench), scratch, bench)
    assert [job.art.logo for job in jobs] == ["a.png", "b.png"]
