"""The service as a process: signals, being killed, and a second one on the same shop."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from keyturn.shop.folders import Shop
from samples import PATIENCE_S, Drop, until
from shop_runs import lay, revisions, run_until_quiet


def start(shop: Shop) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-m", "keyturn", "run", "--root", str(shop.root)], stderr=subprocess.PIPE, text=True
    )
    until(lambda: shop.is_running() or process.poll() is not None)
    assert process.poll() is None, process.communicate()[1]
    return process


def test_sigterm_ends_it_at_once_with_exit_code_0_and_the_drop_is_made_next_time(shop: Shop, drop: Drop) -> None:
    lay(drop(frames=40), shop)
    process = start(shop)
    until(lambda: list(shop.work.iterdir()) != [] or revisions(shop) != [])
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    assert not list(shop.work.iterdir())


def test_killed_while_working_it_loses_nothing_and_doubles_nothing(shop: Shop, drop: Drop) -> None:
    for number in range(4):
        lay(drop(f"van-{number}", frames=10), shop)
    for kill_after in (0.0, 0.3, 0.8):
        process = start(shop)
        until(lambda: list(shop.work.iterdir()) != [] or not list(shop.inbox.iterdir()))
        time.sleep(kill_after)
        process.kill()
        process.communicate(timeout=PATIENCE_S)
    run_until_quiet(shop)
    assert revisions(shop) == [f"fern-hollow-mobile-library/van-{n}-r1" for n in range(4)]
    assert len(list(shop.archive.glob("*/*"))) == 4
    assert not list(shop.work.iterdir())


def test_sighup_does_not_end_it(shop: Shop, drop: Drop) -> None:
    process = start(shop)
    try:
        process.send_signal(signal.SIGHUP)
        lay(drop(), shop)
        until(lambda: revisions(shop) != [])
        assert process.poll() is None
    finally:
        process.terminate()
        process.communicate(timeout=PATIENCE_S)


def test_a_second_service_on_the_shop_is_refused_with_exit_code_2(shop: Shop) -> None:
    process = start(shop)
    try:
        second = subprocess.run(
            [sys.executable, "-m", "keyturn", "run", "--root", str(shop.root)], capture_output=True, text=True
        )
        assert second.returncode == 2
        assert "another keyturn" in second.stderr
    finally:
        process.terminate()
        process.communicate(timeout=PATIENCE_S)


def test_no_worker_outlives_a_killed_service(shop: Shop, drop: Drop) -> None:
    lay(drop(frames=60), shop)
    process = start(shop)
    until(lambda: _children(process.pid) != [])
    workers = _children(process.pid)
    process.kill()
    process.communicate(timeout=PATIENCE_S)
    until(lambda: not any(Path(f"/proc/{pid}").exists() and _alive(pid) for pid in workers))


def _children(pid: int) -> list[int]:
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found += [int(path.parent.name), *_children(int(path.parent.name))]
    return found


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_the_environment_names_the_shop(shop: Shop) -> None:
    said = subprocess.run(
        [sys.executable, "-m", "keyturn", "status", "--json"],
        env=os.environ | {"KEYTURN_ROOT": str(shop.root)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(said.stdout)["running"] is False
