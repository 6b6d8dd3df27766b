"""A file that another process has open for writing is seen, and who sees it. Source: fcntl(2), "Leases"; open(2)."""

from __future__ import annotations

import errno
import fcntl
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from keyturn.inbox import open_files
from keyturn.inbox.open_files import Writers, first_open, leases_work, open_in, writers_of
from keyturn.inbox.survey import snapshot

HOLDS = "import sys; file = open(sys.argv[1], sys.argv[2]); print('open', flush=True); sys.stdin.read()"
"""A process that opens a file, says so, and keeps it open until its input ends."""


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    path = tmp_path / "van" / "lamps" / "1.png"
    path.parent.mkdir(parents=True)
    path.write_bytes(b"half a pictu")
    return path


def holder(path: Path, mode: str) -> subprocess.Popen[str]:
    started = subprocess.Popen(
        [sys.executable, "-c", HOLDS, path, mode], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert started.stdout is not None and started.stdout.readline() == "open\n"
    return started


@pytest.fixture
def writer(picture: Path) -> Iterator[subprocess.Popen[str]]:
    started = holder(picture, "ab")
    yield started
    started.kill()
    started.communicate()


def test_a_file_is_open_until_its_writer_closes_it(picture: Path, writer: subprocess.Popen[str]) -> None:
    assert writers_of(picture) is Writers.SOME
    writer.communicate("")
    assert writers_of(picture) is Writers.NONE


def test_a_writer_that_is_killed_leaves_no_file_open(picture: Path, writer: subprocess.Popen[str]) -> None:
    writer.send_signal(signal.SIGKILL)
    writer.wait()
    assert writers_of(picture) is Writers.NONE


def test_who_only_reads_is_no_writer(picture: Path) -> None:
    reader = holder(picture, "rb")
    assert writers_of(picture) is Writers.NONE
    reader.communicate("")


def test_the_file_at_fault_is_named(picture: Path, writer: subprocess.Popen[str], tmp_path: Path) -> None:
    (tmp_path / "van" / "job.toml").write_text("")
    drop = tmp_path / "van"
    assert open_in(drop, snapshot(drop)) == (Writers.SOME, "lamps/1.png")
    assert open_in(picture, snapshot(picture)) == (Writers.SOME, "")
    writer.communicate("")
    assert open_in(drop, snapshot(drop)) == (Writers.NONE, "")


def test_what_is_gone_or_no_plain_file_is_not_open(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "fifo")
    (tmp_path / "link").symlink_to("/dev/zero")
    assert first_open(tmp_path, ["gone", "fifo", "link", "sub/"]) == (Writers.NONE, "")


def test_a_lease_is_given_back_at_once(picture: Path) -> None:
    """Else whoever opens the file next would wait for lease-break-time, or get EWOULDBLOCK (open(2))."""
    assert writers_of(picture) is Writers.NONE
    os.close(os.open(picture, os.O_WRONLY | os.O_NONBLOCK))


def test_a_broken_lease_does_not_end_this_process(picture: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody opens the file just while the lease is held. SIGIO, sent by default, would end us (signal(7))."""
    real = fcntl.fcntl

    def opened_in_between(file: int, command: int, argument: int = 0) -> int:
        answer = real(file, command, argument)
        if (command, argument) == (fcntl.F_SETLEASE, fcntl.F_RDLCK):
            with pytest.raises(BlockingIOError):
                os.open(picture, os.O_WRONLY | os.O_NONBLOCK)
        return answer

    monkeypatch.setattr(fcntl, "fcntl", opened_in_between)
    assert signal.getsignal(signal.SIGURG) is signal.SIG_DFL
    assert writers_of(picture) is Writers.NONE


@pytest.mark.skipif(os.geteuid() != 0, reason="needs a second user")
def test_another_users_file_cannot_be_asked_about_without_the_capability(picture: Path) -> None:
    asked = (
        "import os, sys; from keyturn.inbox.open_files import writers_of; "
        "os.seteuid(4711); print(writers_of(sys.argv[1]))"
    )
    picture.chmod(0o644)
    for folder in picture.parents[:5]:
        if folder.stat().st_mode & 0o777 == 0o700:
            folder.chmod(0o755)
    said = subprocess.run([sys.executable, "-c", asked, picture], capture_output=True, text=True, check=True)
    assert said.stdout == "unseen\n"


@pytest.mark.parametrize("error", [errno.EINVAL, errno.EACCES, errno.EOPNOTSUPP])
def test_a_file_system_without_leases_tells_nothing(picture: Path, monkeypatch: pytest.MonkeyPatch, error: int) -> None:
    def none(file: int, command: int, argument: int = 0) -> int:
        if command == fcntl.F_SETLEASE:
            raise OSError(error, os.strerror(error))
        return 0

    monkeypatch.setattr(fcntl, "fcntl", none)
    assert writers_of(picture) is Writers.UNSEEN
    assert open_in(picture, snapshot(picture)) == (Writers.UNSEEN, "")
    assert not leases_work(picture.parent)


def test_whether_leases_work_is_found_out_without_a_trace(tmp_path: Path) -> None:
    assert leases_work(tmp_path)
    assert list(tmp_path.iterdir()) == []
    assert not leases_work(tmp_path / "missing")


def test_a_file_with_a_lease_of_its_writer_is_open(picture: Path) -> None:
    """A file server may hold a write lease for its client (smb.conf(5), kernel oplocks)."""
    held = "import fcntl, sys; f = open(sys.argv[1], 'r+b'); fcntl.fcntl(f, fcntl.F_SETLEASE, fcntl.F_WRLCK)"
    held += "; import signal; signal.signal(signal.SIGIO, signal.SIG_IGN); print('open', flush=True); sys.stdin.read()"
    started = subprocess.Popen(
        [sys.executable, "-c", held, picture], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert started.stdout is not None and started.stdout.readline() == "open\n"
    assert writers_of(picture) is Writers.SOME
    started.communicate("")
    assert open_files.writers_of(picture) is Writers.NONE
