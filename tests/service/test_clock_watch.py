"""When the wall clock counts as sane, by two clocks that the test holds."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from keyturn.service.clock_watch import SANE_AFTER_S, ClockRecord, ClockWatch, seconds_since_boot
from keyturn.shop.bounded_record import parsed

HOUR = 3600.0
START = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


class Machine:
    """Two clocks: `wall`, and the time since its start. `service` is the watch of the service that runs on it."""

    def __init__(self, record: Path) -> None:
        self.record, self.wall, self.since_boot = record, START, 50.0
        self.restart()

    def restart(self) -> None:
        self.service = ClockWatch(self.record, lambda: self.wall, lambda: self.since_boot)

    def pass_by(self, seconds: float, rate: float = 1.0) -> None:
        self.since_boot += seconds
        self.wall += timedelta(seconds=seconds * rate)

    def serve(self, hours: float, rate: float = 1.0) -> None:
        for _ in range(round(hours * 30)):
            self.service.look()
            self.pass_by(120, rate)
        self.service.look()

    def kept(self) -> ClockRecord:
        return parsed(self.record.read_bytes(), ClockRecord)


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path / "clock.json")


def test_a_clock_that_ran_evenly_for_a_day_of_service_is_sane_and_stays_so(machine: Machine) -> None:
    machine.serve(23.9)
    assert not machine.service.is_sane()
    assert "23 of 24 hours" in machine.service.why_not() and "not been watched before" in machine.service.why_not()
    machine.serve(0.2)
    assert machine.service.is_sane()
    machine.serve(100)
    assert machine.service.is_sane()


def test_it_goes_on_after_a_night_without_service_and_the_night_does_not_count(machine: Machine) -> None:
    for _ in range(2):
        machine.serve(10)
        machine.pass_by(14 * HOUR)
        machine.restart()
    machine.serve(1)
    assert not machine.service.is_sane()
    machine.serve(4)
    assert machine.service.is_sane()


def test_a_new_start_of_the_machine_is_no_step(machine: Machine) -> None:
    machine.serve(25)
    machine.pass_by(HOUR)
    machine.since_boot = 3.0
    machine.restart()
    machine.serve(0.1)
    assert machine.service.is_sane()


@pytest.mark.parametrize("restarted", [False, True])
@pytest.mark.parametrize(
    ("step", "why"), [(timedelta(days=-3), "it went back by 3 days"), (timedelta(days=3), "3 days")]
)
def test_after_a_step_it_must_prove_itself_again(machine: Machine, step: timedelta, why: str, restarted: bool) -> None:
    machine.serve(48)
    machine.wall += step
    if restarted:
        machine.restart()
    machine.pass_by(30)
    machine.service.look()
    assert not machine.service.is_sane() and why in machine.service.why_not()
    assert machine.kept().seen_s == 0, "a crash right after it does not forget it"
    machine.serve(23)
    assert not machine.service.is_sane()
    machine.serve(2)
    assert machine.service.is_sane()


@pytest.mark.parametrize("restarted", [False, True])
def test_after_a_gap_over_a_day_it_must_prove_itself_again(machine: Machine, restarted: bool) -> None:
    machine.serve(48)
    machine.pass_by(25 * HOUR)
    if restarted:
        machine.restart()
    machine.service.look()
    assert not machine.service.is_sane() and "nobody watched it for 25 hours" in machine.service.why_not()


def test_a_clock_that_runs_too_fast_or_too_slow_is_never_sane(machine: Machine) -> None:
    for rate in (2.0, 0.5):
        machine.serve(48, rate)
        assert not machine.service.is_sane()


def test_small_corrections_and_looks_in_quick_succession_do_not_count_against_it(machine: Machine) -> None:
    machine.serve(25)
    for _ in range(20):
        machine.wall += timedelta(seconds=2)
        machine.pass_by(70)
        for _ in range(3):
            machine.service.look()
            machine.pass_by(0.1)
    assert machine.service.is_sane()


def test_sleep_counts_for_an_hour_at_most(machine: Machine) -> None:
    machine.service.look()
    for _ in range(3):
        machine.pass_by(10 * HOUR)
        machine.service.look()
    assert not machine.service.is_sane() and "(3 of 24 hours so far)" in machine.service.why_not()


@pytest.mark.parametrize(
    "text", ["", "{", '{"at": "soon", "seen_s": 1e9}', '{"at": "2026-03-01T09:30:00", "seen_s": 1e9}']
)
def test_a_spoilt_record_counts_as_none(machine: Machine, text: str) -> None:
    machine.record.write_text(text)
    machine.restart()
    machine.service.look()
    assert not machine.service.is_sane()
    assert machine.kept().at == START.isoformat(timespec="seconds")


def test_the_record_holds_when_and_how_long(machine: Machine) -> None:
    machine.serve(26)
    assert SANE_AFTER_S <= machine.kept().seen_s <= 26 * HOUR
    assert machine.wall - datetime.fromisoformat(machine.kept().at) < timedelta(minutes=15)


def test_the_time_since_the_start_is_the_systems() -> None:
    """proc_uptime(5): the first figure, in hundredths of a second."""
    before = float(Path("/proc/uptime").read_text().split()[0])
    assert before - 0.02 <= seconds_since_boot() and seconds_since_boot() >= time.monotonic() - 1
