"""How far a job has come follows from the slips beside its newest revision."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from keyturn.outbox import ledger_rows, revision_life, standings
from keyturn.outbox.ledger import Ledger
from keyturn.outbox.ledger_rows import MadeFor
from keyturn.outbox.revision_life import FILES, Life
from keyturn.shop.records import JobRecord
from keyturn.shop.slips import Kind, Slip
from keyturn.shop.state_records import PlaceCounts, PlacedJob

NOW = datetime(2026, 3, 20, 9, 30, tzinfo=UTC)
BOTH = MadeFor(("wide", "tall"))
VANS = ("Van 1", "Van 2", "Van 3")


def slip(kind: Kind, day: int, **more: Any) -> Slip:
    known = {"customer": "C", "job": "van", "revision": 1, "path": "c/van-r1", "digest": "ab" * 32, "by": "Marta"}
    known |= {"kind": kind, "id": f"slip-{kind}-{day}", "at": f"2026-03-{day:02d}T09:00:00+00:00"}
    return Slip.model_validate(known | more)


def yes(day: int) -> Slip:
    return slip("answer", day, answer="yes")


def change(day: int) -> Slip:
    return slip("answer", day, answer="change", note="The lamps\nare too yellow")


def copied(day: int, radio: str = "wide", vehicle: str = "") -> Slip:
    return slip("copied", day, radio=radio, stick="VAN at /media/van", verified=True, vehicle=vehicle)


def fitted(day: int, radio: str = "wide", vehicle: str = "van 2") -> Slip:
    return slip("fitted", day, radio=radio, by="Tobias", vehicle=vehicle, boot_s=18.2)


def life(*slips: Slip) -> Life:
    return Life(**{kind: tuple(s for s in slips if s.kind == kind) for kind in FILES})


@pytest.mark.parametrize(
    ("slips", "place", "since", "said"),
    [
        ([slip("shown", 1, note="Marta")], "", 1, "shown to Marta"),
        ([yes(2)], "stick", 2, "yes from Marta"),
        ([yes(2), change(3)], "change", 3, "Marta: The lamps are too yellow"),
        ([change(3), yes(4)], "stick", 4, "yes from Marta"),
        ([yes(2), copied(5)], "fit", 5, "on VAN at /media/van, read back"),
        ([copied(5)], "fit", 5, "on VAN at /media/van, read back"),
        ([copied(5), change(6)], "change", 6, "Marta: The lamps are too yellow"),
        ([copied(5), fitted(7)], "fitted", 7, "by Tobias, van 2, boots in 18.2 s"),
        ([fitted(7)], "fitted", 7, "by Tobias, van 2, boots in 18.2 s"),
        ([change(3), fitted(7)], "fitted", 7, "by Tobias, van 2, boots in 18.2 s"),
        ([fitted(7), change(8)], "change", 8, "Marta: The lamps are too yellow"),
    ],
)
def test_the_place_of_a_job(slips: list[Slip], place: str, since: int, said: str) -> None:
    found = standings.standing_of(life(*slips), MadeFor(("wide",)))
    assert found is not None
    assert (found.place, found.since, found.said) == (place, f"2026-03-{since:02d}T09:00:00+00:00", said)


@pytest.mark.parametrize(
    ("slips", "place"),
    [
        ([copied(5)], "stick"),
        ([copied(5), copied(6, "tall")], "fit"),
        ([copied(5), fitted(6)], "stick"),
        ([copied(5), fitted(6), copied(7, "tall")], "fit"),
        ([fitted(6), fitted(7, "tall")], "fitted"),
        ([fitted(6, "")], "fitted"),
    ],
)
def test_a_job_for_two_radios_has_come_as_far_as_the_later_one(slips: list[Slip], place: str) -> None:
    found = standings.standing_of(life(*slips), BOTH)
    assert found and found.place == place


@pytest.mark.parametrize(
    ("slips", "place", "said"),
    [
        ([yes(2)], "stick", "yes from Marta"),
        ([yes(2), copied(3, vehicle="Van 1")], "stick", "still to copy: Van 2, Van 3"),
        ([yes(2), copied(3)], "fit", "0 of 3 fitted; left: Van 1, Van 2, Van 3"),  # one stick goes for all
        (
            [yes(2), fitted(4, vehicle="Van 2")],
            "fit",
            "1 of 3 fitted; left, still to copy: Van 1, Van 3",
        ),
        (
            [copied(3, vehicle="Van 1"), fitted(4, vehicle="Van 2")],
            "fit",
            "1 of 3 fitted; left: Van 1, Van 3; still to copy: Van 3",
        ),
        ([copied(3), fitted(4, vehicle="Van 2"), fitted(5, "tall", "Van 1")], "fit", "2 of 3 fitted; left: Van 3"),
        (
            [copied(3), fitted(4, vehicle="another"), fitted(5, vehicle="Van 1")],
            "fit",
            "1 of 3 fitted; left: Van 2, Van 3",
        ),
        ([fitted(day, vehicle=van) for day, van in enumerate(VANS, 1)], "fitted", "by Tobias, Van 3, boots in 18.2 s"),
        ([fitted(1, vehicle="Van 1"), change(2)], "change", "Marta: The lamps are too yellow"),
    ],
)
def test_a_job_with_vehicles_is_to_be_fitted_until_all_are(slips: list[Slip], place: str, said: str) -> None:
    found = standings.standing_of(life(*slips), MadeFor(("wide", "tall"), VANS))
    assert found and (found.place, found.said) == (place, said)


def test_each_vehicle_has_a_line_of_its_own() -> None:
    said = life(copied(3, vehicle="Van 1"), copied(4, vehicle="Van 2"), fitted(5, vehicle="Van 2"))
    found = standings.standing_of(said, MadeFor(("wide",), VANS))
    assert found
    first, second, third = ledger_rows.vehicle_lines(found.lines)
    assert (first.place, first.since, first.said) == ("fit", copied(3).at, "on VAN at /media/van, read back")
    assert (second.place, second.since, second.said) == ("fitted", fitted(5).at, "by Tobias, boots in 18.2 s")
    assert (third.name, third.place, third.since, third.said) == ("Van 3", "stick", "", "")


def test_nothing_said_is_no_standing_and_a_time_that_is_none_is_empty() -> None:
    assert standings.standing_of(Life(), BOTH) is None
    odd = standings.standing_of(life(yes(2).model_copy(update={"at": "yesterday"})), BOTH)
    assert odd and odd.since == ""


# -- the ledger ---------------------------------------------------------------------------------------


def job(name: str, revision: int, made: datetime) -> JobRecord:
    known = {"keyturn": "0", "customer": "C", "artist": None, "drop": name, "claim": f"{name}{revision}", "digest": "d"}
    at = made.isoformat(timespec="seconds")
    return JobRecord.model_validate(known | {"job": name, "made_at": at, "revision": revision, "radios": ()})


Shop = Callable[..., tuple[tuple[PlacedJob, ...], PlaceCounts | None]]


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger.opened(tmp_path / "ledger.sqlite3")[0]


@pytest.fixture
def made(tmp_path: Path, ledger: Ledger) -> dict[str, JobRecord]:
    """Eleven revisions of nine jobs, in the ledger and as folders."""
    every = {f"c/job-{n}-r1": job(f"job-{n}", 1, NOW - timedelta(days=20 - n)) for n in range(8)}
    every |= {f"c/job-0-r{n}": job("job-0", n, NOW - timedelta(days=9)) for n in (2, 10)}
    every["c/old-r1"] = job("old", 1, NOW - timedelta(days=200))
    ledger.add_all_ready(every.items())
    for path in every:
        (tmp_path / path).mkdir(parents=True)
    return every


def enter(folder: Path, *slips: Slip) -> None:
    for each in slips:
        revision_life.enter(folder, each)


def follow(ledger: Ledger, outbox: Path, made: dict[str, JobRecord]) -> None:
    standings.follow(ledger, outbox, dict.fromkeys(made, MadeFor(("wide",))))


def test_a_shop_in_which_nobody_says_anything_has_no_places(
    tmp_path: Path, ledger: Ledger, made: dict[str, JobRecord]
) -> None:
    for slips in ((), (copied(5),)):  # `keyturn copy` notes by itself
        enter(tmp_path / "c/job-1-r1", *slips)
        follow(ledger, tmp_path, made)
        assert standings.jobs(ledger, approval=False, now=NOW) == ((), None)
        assert standings.jobs_in(tmp_path, made, approval=False, now=NOW) == ((), None)


def test_each_job_stands_once_with_its_newest_revision_and_the_oldest_first(
    tmp_path: Path, ledger: Ledger, made: dict[str, JobRecord]
) -> None:
    enter(tmp_path / "c/job-0-r2", yes(19))  # an older revision: it says nothing about the newest
    enter(tmp_path / "c/job-1-r1", yes(18))
    enter(tmp_path / "c/job-2-r1", yes(17))
    enter(tmp_path / "c/job-3-r1", change(18))
    enter(tmp_path / "c/job-4-r1", yes(12), copied(18))
    enter(tmp_path / "c/job-5-r1", fitted(19))
    enter(tmp_path / "c/job-6-r1", fitted(2))
    follow(ledger, tmp_path, made)
    for jobs, counts in (
        standings.jobs(ledger, approval=False, now=NOW),
        standings.jobs_in(tmp_path, with_radios(made), approval=False, now=NOW),
    ):
        stand = {place: [j.path for j in jobs if j.place == place] for place in {j.place for j in jobs}}
        assert stand == {
            "stick": ["c/job-2-r1", "c/job-1-r1"],
            "change": ["c/job-3-r1"],
            "fit": ["c/job-4-r1"],
            "fitted": ["c/job-5-r1"],
            "customer": ["c/job-7-r1", "c/job-0-r10"],
        }
        assert counts == PlaceCounts(stick=2, change=1, fit=1, fitted=1, customer=2, fitted_earlier=1, quiet=1)


def with_radios(made: dict[str, JobRecord]) -> dict[str, JobRecord]:
    """The same records, whose revisions were made for "wide"."""
    from page_records import radio

    wide = radio().model_copy(update={"radio": "wide"})
    return {path: record.model_copy(update={"radios": (wide,)}) for path, record in made.items()}


def test_where_customers_are_not_asked_a_job_waits_for_its_stick(
    tmp_path: Path, ledger: Ledger, made: dict[str, JobRecord]
) -> None:
    enter(tmp_path / "c/job-5-r1", fitted(19))
    follow(ledger, tmp_path, made)
    assert {j.place for j in standings.jobs(ledger, approval=False, now=NOW)[0]} == {"stick", "fitted"}
    assert {j.place for j in standings.jobs(ledger, approval=True, now=NOW)[0]} == {"customer", "fitted"}


def test_what_changes_by_hand_is_followed_and_what_stays_is_the_same_object(
    tmp_path: Path, ledger: Ledger, made: dict[str, JobRecord]
) -> None:
    enter(tmp_path / "c/job-1-r1", yes(18))
    enter(tmp_path / "c/job-2-r1", yes(18))
    follow(ledger, tmp_path, made)
    before = {j.path: j for j in standings.jobs(ledger, approval=False, now=NOW)[0]}
    path = tmp_path / "c/job-1-r1" / "answer.json"
    told = json.loads(path.read_text())
    told["slips"][0]["answer"] = "change"
    path.write_text(json.dumps(told))
    (tmp_path / "c/job-2-r1" / "answer.json").unlink()
    follow(ledger, tmp_path, made)
    after = {j.path: j for j in standings.jobs(ledger, approval=False, now=NOW)[0]}
    assert after["c/job-1-r1"].place == "change" and after["c/job-2-r1"].place == "customer"
    assert after["c/job-3-r1"] is before["c/job-3-r1"]


def test_vehicles_stand_in_the_ledger_as_in_the_folders(tmp_path: Path, ledger: Ledger) -> None:
    path = "c/vans-r1"
    made = {path: job("vans", 1, NOW - timedelta(days=1)).model_copy(update={"vehicles": VANS})}
    ledger.add_all_ready(made.items())
    assert ledger.made_for() == {path: MadeFor((), VANS)}
    unsaid = standings.jobs(ledger, approval=True, now=NOW)[0]
    assert [(line.name, line.words) for line in unsaid[0].lines] == [(van, "") for van in VANS]
    (tmp_path / path).mkdir(parents=True)
    enter(tmp_path / path, fitted(18, vehicle="Van 2"))
    standings.follow(ledger, tmp_path, ledger.made_for())
    (placed,), counts = standings.jobs(ledger, approval=False, now=NOW)
    assert standings.jobs_in(tmp_path, made, approval=False, now=NOW) == ((placed,), counts)
    assert placed.place == "fit" and placed.vehicles == VANS
    assert [line.words for line in placed.lines] == ["to be put on a stick", "fitted", "to be put on a stick"]


def test_a_revision_taken_away_stands_nowhere(tmp_path: Path, ledger: Ledger, made: dict[str, JobRecord]) -> None:
    enter(tmp_path / "c/job-1-r1", yes(18))
    follow(ledger, tmp_path, made)
    ledger.drop_ready(iter(["c/job-1-r1"]))
    assert not ledger.standings()
