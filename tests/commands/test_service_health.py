"""doctor tells of the service, its unit and its hooks."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from keyturn.commands import service_health
from keyturn.commands.finding import Finding, Health
from keyturn.outbox import shop_state
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.state_records import ShopState
from samples import Run, as_user, open_folder

needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user")

REAL_UNIT = service_health._unit


def findings(shop: Shop) -> Iterator[Finding]:
    yield from service_health.service(shop)
    yield from service_health.aside(shop)
    yield from service_health.hooks(shop)


def found(shop: Shop, words: str) -> Finding:
    """Return the one finding that contains `words`."""
    fitting = [f for f in findings(shop) if words in f.what]
    assert len(fitting) == 1, list(findings(shop))
    return fitting[0]


def says(shop: Shop) -> str:
    return "\n".join(f"{f.health} {f.what} -> {f.remedy}" for f in findings(shop))


@pytest.fixture(autouse=True)
def no_systemd(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hide the systemd of the machine that runs the tests."""
    monkeypatch.setattr(service_health, "_unit", lambda name: "")


def test_a_running_service_is_seen(shop: Shop) -> None:
    with shop.held():
        assert found(shop, "the service runs").health is Health.WELL
    finding = found(shop, "the service does not run")
    assert finding.health is Health.MIND and f"keyturn run --root {shop.root}" in finding.remedy


@needs_root
@pytest.mark.parametrize(("closed", "mode"), [("lock", 0o600), ("state", 0o700)])
def test_a_private_lock_does_not_end_the_examination(
    run: Run, capsys: pytest.CaptureFixture[str], closed: str, mode: int
) -> None:
    """Only the shop's group may read the lock (open(2): EACCES), but any operator may run doctor."""
    rulebook.load()  # what is imported late may be closed to other users too
    with open_folder() as place:
        shop = Shop(place / "shop")
        shop.create()
        for folder in (shop.root, *shop.root.iterdir()):
            folder.chmod(0o755)
        with shop.held():
            getattr(shop, closed).chmod(mode)
            with as_user(54321):
                finding = found(shop, "cannot be seen")
                assert run("doctor", "--root", shop.root) in (0, 2)
    assert finding.health is Health.MIND and "keyturn doctor" in finding.remedy
    said = capsys.readouterr()
    assert f"mind  {finding.what}" in said.out and "the rules are in order" in said.out and said.err == ""


def test_a_pause_and_settings_that_were_not_taken_are_ill(shop: Shop) -> None:
    state = ShopState(
        at=datetime.now(UTC).isoformat(),
        running=True,
        pid=os.getpid(),
        paused="No space left on device -> free some space",
        settings_fault="keyturn.toml: line 3 -> mend it",
    )
    shop_state.write_state(shop, state)
    assert "paused" not in says(shop), "no service runs"
    with shop.held():
        paused, settings = found(shop, "is paused"), found(shop, "as they were")
        shop_state.write_state(shop, state.model_copy(update={"paused": None, "settings_fault": None}))
        assert {f.health for f in findings(shop)} == {Health.WELL}
    assert (paused.health, paused.what) == (Health.ILL, "the service is paused: No space left on device")
    assert (paused.remedy, settings.remedy[:7]) == ("free some space", "mend it")
    assert settings.health is Health.ILL and "keyturn.toml: line 3" in settings.what
    assert paused.remedy and settings.remedy


def test_that_nothing_old_is_removed_yet_is_told_with_the_reason(shop: Shop) -> None:
    waits = "the clock must first run evenly for a day of service"
    state = ShopState(at=datetime.now(UTC).isoformat(), running=True, pid=os.getpid(), removal_waits=waits)
    shop_state.write_state(shop, state)
    with shop.held():
        finding = found(shop, "nothing old is removed")
    assert finding.health is Health.MIND and waits in finding.what and "clock" in finding.remedy


def test_a_service_that_cannot_write_its_state_is_told(shop: Shop) -> None:
    with shop.held():
        finding = found(shop, "has not written its state")
    assert finding.health is Health.MIND and finding.remedy


@pytest.mark.parametrize(
    ("said", "state"),
    [
        ("LoadState=loaded\nActiveState=active\n", "active"),
        ("ActiveState=failed\nLoadState=loaded\n", "failed"),
        ("LoadState=not-found\nActiveState=inactive\n", ""),
        ("", ""),
    ],
)
def test_what_systemd_knows_is_read_in_any_order(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, said: str, state: str
) -> None:
    """systemctl(1), show: Key=Value lines; their order is not promised."""
    program = tmp_path / "systemctl"
    program.write_text("#!/bin/sh\ncat <<'END'\n" + said + "END\n")
    program.chmod(0o755)
    monkeypatch.setattr(shutil, "which", lambda name: str(program))
    monkeypatch.setattr(Path, "is_dir", lambda path: True)
    assert REAL_UNIT("ActiveState") == state


def test_a_failed_unit_is_told_with_where_to_look(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service_health, "_unit", lambda name: "failed")
    finding = found(shop, "keyturn.service is failed")
    assert finding.health is Health.MIND and "journalctl" in finding.remedy
    monkeypatch.setattr(service_health, "_unit", lambda name: "active")
    assert found(shop, "keyturn.service is active").health is Health.WELL


def test_without_systemd_nothing_is_said_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda name: None)
    assert REAL_UNIT("ActiveState") == ""


@pytest.mark.parametrize("event", ["ready", "refused", "answered"])
def test_a_hook_under_a_unit_without_a_network_is_told_with_the_file_that_opens_it(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, event: str
) -> None:
    unit = {"ActiveState": "active", "PrivateNetwork": "yes"}
    monkeypatch.setattr(service_health, "_unit", unit.__getitem__)
    assert "no network" not in says(shop), "no hook is set"
    (shop.root / "keyturn.toml").write_text(f'[hooks]\n{event} = ["/usr/local/bin/tell-the-shop"]\n')
    finding = found(shop, "keyturn.service has no network")
    assert finding.health is Health.MIND
    named = [word for word in finding.remedy.split() if "/" in word]
    assert [Path(__file__).parents[2].joinpath(word.strip(";")).is_file() for word in named] == [True]
    unit["PrivateNetwork"] = "no"
    assert "no network" not in says(shop)
