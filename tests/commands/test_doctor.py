"""Each fault of a machine or a shop is provoked: doctor finds it, names its remedy and changes nothing."""

from __future__ import annotations

import errno
import json
import os
import stat as modes
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import features

from keyturn.commands import doctor, service_health
from keyturn.commands.finding import Finding, Health
from keyturn.shop import mounts
from keyturn.shop.folders import Shop
from samples import Run


def found(shop: Shop, words: str) -> Finding:
    """Return the one finding that contains `words`."""
    fitting = [f for f in doctor.examine(shop) if words in f.what]
    assert len(fitting) == 1, [f.what for f in doctor.examine(shop)]
    return fitting[0]


def says(shop: Shop) -> str:
    return "\n".join(f"{f.health} {f.what} -> {f.remedy}" for f in doctor.examine(shop))


def everything(root: Path) -> dict[str, tuple[int, int, int, bytes]]:
    return {
        str(p): (s.st_mode, s.st_mtime_ns, s.st_ino, p.read_bytes() if modes.S_ISREG(s.st_mode) else b"")
        for p in [root, *root.rglob("*")]
        for s in [p.lstat()]
    }


@pytest.fixture(autouse=True)
def no_systemd(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hide the systemd of the machine that runs the tests."""
    monkeypatch.setattr(service_health, "_unit", lambda name: "")


@pytest.mark.parametrize(
    ("status", "words"),
    [("0000000010000000", "whoever owns them"), ("0000000000000000", "where they are the service's own")],
)
def test_whose_open_files_are_seen_depends_on_the_services_capability(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, status: str, words: str
) -> None:
    """CAP_LEASE is bit 28 of CapEff (capabilities(7), proc_pid_status(5))."""
    real = Path.read_text

    def read_text(self: Path, *rest: Any, **more: Any) -> str:
        return f"Name: x\nCapEff:\t{status}\n" if self.name == "status" else real(self, *rest, **more)

    monkeypatch.setattr(Path, "read_text", read_text)
    assert found(shop, words).health is Health.WELL


def test_that_no_open_files_are_seen_is_said_with_a_way_out(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor.open_files, "leases_work", lambda folder: False)
    finding = found(shop, "cannot be seen")
    assert finding.health is Health.MIND and "done" in finding.remedy


def test_in_a_sound_shop_nothing_is_ill_and_only_the_service_is_missed(shop: Shop) -> None:
    with (shop.root / "keyturn.toml").open("a", encoding="utf-8") as file:
        file.write('[shop]\nname = "Lantern Row Radio"\nmail = "shop@example.org"\n')
    findings = doctor.examine(shop)
    assert [f.what for f in findings if f.health is not Health.WELL] == ["the service does not run"]
    assert all(f.remedy for f in findings if f.health is not Health.WELL)
    assert all(not f.remedy for f in findings if f.health is Health.WELL)


def test_it_changes_nothing(shop: Shop) -> None:
    shop.lock.write_bytes(b"")
    (shop.inbox / "van").mkdir()
    before = everything(shop.root)
    doctor.examine(shop)
    assert everything(shop.root) == before


def test_where_there_is_no_shop_init_is_named(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "nothing")
    missing = [f for f in doctor.examine(shop) if f.health is Health.ILL]
    assert len(missing) == 6
    assert {f.remedy for f in missing} == {f"keyturn init {shop.root}"}
    assert not shop.root.exists()


@pytest.mark.parametrize("name", ["inbox", "work", "outbox", "archive", "rejects", "state"])
def test_a_missing_folder_is_ill(shop: Shop, name: str) -> None:
    (shop.root / name).rmdir()
    finding = found(shop, f"{shop.root / name} is not there")
    assert (finding.health, finding.remedy) == (Health.ILL, f"keyturn init {shop.root}")


def test_a_file_in_a_folders_place_is_ill(shop: Shop) -> None:
    shop.archive.rmdir()
    shop.archive.write_bytes(b"")
    assert found(shop, f"{shop.archive} is not there").health is Health.ILL


def test_a_folder_that_cannot_be_written_is_ill(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != shop.outbox)
    finding = found(shop, "cannot be written")
    assert finding.health is Health.ILL
    assert str(shop.outbox) in finding.what and "right to write" in finding.remedy


def test_wrong_settings_are_ill_and_named(shop: Shop) -> None:
    (shop.root / "keyturn.toml").write_text('scan_seconds = "often"\n')
    finding = found(shop, "scan_seconds")
    assert (finding.health, finding.remedy) == (Health.ILL, "mend keyturn.toml")
    assert "the rules are in order" in says(shop)


def test_settings_that_are_no_text_are_ill(shop: Shop) -> None:
    (shop.root / "keyturn.toml").write_bytes(b"\xff\xfe\x00")
    assert found(shop, "keyturn.toml").health is Health.ILL


def test_wrong_rules_are_ill_and_named(shop: Shop) -> None:
    (shop.rules / "radios" / "tiny.toml").write_text("title = 3\n")
    (shop.rules / "safety.toml").write_text("[flash]\nmost_per_second = -1\n")
    finding = found(shop, "the rules cannot be read")
    assert finding.health is Health.ILL and finding.remedy
    assert "tiny.toml" in finding.what and "safety.toml: flash.most_per_second" in finding.what
    assert "the settings are in order" in says(shop)


def test_a_profile_with_keys_of_an_older_keyturn_is_told_and_works(shop: Shop) -> None:
    path = shop.rules / "radios" / "tiny.toml"
    text = path.read_text(encoding="utf-8").replace("[firmware]", '[firmware]\npacing = "fixed-beat"')
    path.write_text(text, encoding="utf-8")
    (told,) = [f for f in doctor.examine(shop) if "older keys" in f.what]
    assert told.health is Health.MIND and "tiny" in told.what and "firmware.pacing" in told.what


@pytest.mark.parametrize("name", ["rules/saftey.toml", "rules/radios/tiny.toml~", "rules/radios/tiny.toml.bak"])
def test_a_file_among_the_rules_that_is_not_read_is_told(shop: Shop, name: str) -> None:
    (shop.root / name).write_text("title = 3\n")
    finding = found(shop, f"{name} is not read")
    assert finding.health is Health.MIND and "remove it" in finding.remedy
    assert "the rules are in order" in says(shop)


@pytest.mark.parametrize("place", ["rules/radios/tall.toml", "keyturn.toml"])
def test_rules_and_settings_that_are_no_files_are_told_and_the_rest_is_looked_at(shop: Shop, place: str) -> None:
    (shop.root / place).unlink(missing_ok=True)
    (shop.root / place).mkdir()
    told = says(shop)
    assert "GiB are free" in told and "the service does not run" in told
    if place.startswith("rules"):
        assert found(shop, "the rules cannot be read").health is Health.ILL


def room(free: int, files_left: int) -> Callable[[object], os.statvfs_result]:
    """Return a statvfs that reports so many free bytes, in blocks of 4096, and so many free files."""
    return lambda path: os.statvfs_result((4096, 4096, 10**7, 0, free // 4096, 10**6, 0, files_left, 0, 255))


def test_little_space_is_told_in_time(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "statvfs", room(300 * 2**20, 10**6))
    finding = found(shop, "only 300 MiB are free")
    assert finding.health is Health.MIND and "[keep]" in finding.remedy


def test_few_files_left_is_told_in_time(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file system can run out of inodes with gigabytes free (common practice, no source)."""
    monkeypatch.setattr(os, "statvfs", room(50 * 2**30, 120))
    assert "50 GiB are free" in says(shop)
    assert found(shop, "only 120 more files").health is Health.MIND


# -- mounts -----------------------------------------------------------------------------------------


@pytest.fixture
def lies_on(monkeypatch: pytest.MonkeyPatch) -> Callable[[Path, str], None]:
    """lies_on(folder, "nfs4") writes a list of mounts, format of proc(5), with the folder on that file system."""

    def say(folder: Path, kind: str) -> None:
        info = folder.parent / "mountinfo"
        info.write_text(f"22 1 254:0 / / rw - ext4 /dev/root rw\n40 22 0:50 / {folder} rw - {kind} files:/x rw\n")
        real = mounts.file_system
        monkeypatch.setattr(mounts, "file_system", lambda path: real(path, info))
        monkeypatch.setattr("keyturn.inbox.events.file_system", lambda path: real(path, info))

    return say


def test_state_on_a_network_share_is_told(shop: Shop, lies_on: Callable[[Path, str], None]) -> None:
    """SQLite's documentation ('How To Corrupt An SQLite Database File', 2.1): locks of network shares are broken."""
    lies_on(shop.state, "nfs4")
    finding = found(shop, "lies on nfs4")
    assert str(shop.state) in finding.what
    assert finding.health is Health.MIND and "local disk" in finding.remedy


def test_an_inbox_on_a_network_share_is_polled(shop: Shop, lies_on: Callable[[Path, str], None]) -> None:
    """inotify(7): changes by other machines cause no events."""
    lies_on(shop.inbox, "cifs")
    assert found(shop, "watched by polling").health is Health.WELL


def test_events_asked_for_where_there_are_none_is_told(shop: Shop, lies_on: Callable[[Path, str], None]) -> None:
    (shop.root / "keyturn.toml").write_text('watch = "events"\n')
    lies_on(shop.inbox, "cifs")
    finding = found(shop, "events are asked for on cifs")
    assert (finding.health, finding.remedy) == (Health.MIND, 'set watch = "auto"')


def test_too_few_watches_are_told(shop: Shop, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(doctor, "_number", lambda path: 4)
    finding = found(shop, "4 inotify instances")
    assert finding.health is Health.MIND and "fs.inotify.max_user_instances" in finding.remedy


def test_folders_on_several_file_systems_are_told(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.stat

    def stat(path: Path, **how: bool) -> os.stat_result:
        seen = real(path, **how)
        return os.stat_result((*seen[:2], 0x999, *seen[3:])) if path == shop.archive else seen

    monkeypatch.setattr(Path, "stat", stat)
    finding = found(shop, "several file systems")
    assert finding.health is Health.MIND and "on one" in finding.remedy


# -- the machine ------------------------------------------------------------------------------------


def test_a_clock_from_before_keyturn_is_ill(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A small computer without a battery-backed clock starts in 1970 (common practice, no source)."""
    monkeypatch.setattr(time, "time", lambda: datetime(1970, 1, 2, 12).timestamp())
    finding = found(shop, "the clock says 1970-01-02")
    assert finding.health is Health.ILL and "set the clock" in finding.remedy


def test_a_pillow_without_its_codecs_is_ill(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    real = features.check
    monkeypatch.setattr(features, "check", lambda name: name != "littlecms2" and real(name))
    finding = found(shop, "without littlecms2")
    assert finding.health is Health.ILL and "Pillow" in finding.remedy


def test_the_python_that_runs_is_named(shop: Shop) -> None:
    version = subprocess.run([sys.executable, "--version"], capture_output=True, text=True, check=True).stdout
    assert version.strip() in says(shop)


def test_a_read_only_disk_is_told_from_a_missing_right(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """access(2) answers EROFS as well as EACCES with no."""
    monkeypatch.setattr(os, "access", lambda folder, mode: False)
    assert "right to write" in found(shop, f"{shop.inbox} cannot be written").remedy
    monkeypatch.setattr(doctor, "write_error", lambda folder: errno.EROFS)
    finding = found(shop, f"{shop.inbox} is on a read-only file system")
    assert finding.health is Health.ILL and "mount" in finding.remedy


def test_extras_that_are_not_installed_are_told_by_the_names_that_install_them(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    declared = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    extras = set(declared["optional-dependencies"]) - {"test"}
    monkeypatch.setattr(doctor, "find_spec", lambda module: None)
    told = [f for f in doctor.examine(shop) if f.what.startswith("without the extra ")]
    assert {f.what.split()[3] for f in told} == extras and all(f.health is Health.WELL for f in told)


# -- the command -----------------------------------------------------------------------------------


def test_a_sound_shop_exits_0(run: Run, shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("doctor", "--root", shop.root) == 0
    assert "the rules are in order" in capsys.readouterr().out


def test_an_ill_shop_exits_2_and_json_is_for_programs(run: Run, shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    shop.archive.rmdir()
    assert run("doctor", "--root", shop.root) == 2
    assert f"keyturn init {shop.root}" in capsys.readouterr().out
    assert run("doctor", "--root", shop.root, "--json") == 2
    found = json.loads(capsys.readouterr().out)
    assert all(set(f) == {"health", "what", "remedy"} for f in found)
    assert {f["health"] for f in found} <= {"well", "mind", "ill"}
    assert [f["what"] for f in found if f["health"] == "ill"] == [f"{shop.archive} is not there"]


def test_what_is_only_to_be_minded_exits_0(
    run: Run, shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(doctor, "examine", lambda shop: [Finding(Health.MIND, "[b]odd", "mend it")])
    assert run("doctor", "--root", shop.root) == 0
    assert "[b]odd -> mend it" in capsys.readouterr().out
