"""Events wake the loop early. Without them the regular scans notice changes alone."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from keyturn.inbox import events
from keyturn.inbox.events import Watch


def test_network_mounts_are_polled_unless_told_otherwise(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(events, "file_system", lambda path: "nfs4")
    assert events.mode("auto", tmp_path) == "polling"
    assert events.mode("events", tmp_path) == "events"
    monkeypatch.setattr(events, "file_system", lambda path: "ext4")
    assert events.mode("auto", tmp_path) == "events"


def test_something_new_in_the_inbox_wakes_the_loop(tmp_path: Path) -> None:
    woken = threading.Event()
    watch = Watch(tmp_path, "events", woken.set)
    watch.start()
    try:
        (tmp_path / "van").mkdir()
        assert woken.wait(10)
        assert "events" in watch.description
    finally:
        watch.stop()


def test_polling_starts_no_watcher(tmp_path: Path) -> None:
    watch = Watch(tmp_path, "polling", lambda: None)
    watch.start()
    assert watch.description == "polling"
    watch.check()
    watch.stop()


def test_a_replaced_inbox_is_watched_anew(tmp_path: Path) -> None:
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    woken = threading.Event()
    watch = Watch(inbox, "events", woken.set)
    watch.start()
    try:
        inbox.rename(tmp_path / "old")
        inbox.mkdir()
        watch.check()
        woken.clear()
        (inbox / "van").mkdir()
        assert woken.wait(10)
    finally:
        watch.stop()


def test_without_watches_the_scan_alone_does_the_work(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """inotify(7): ENOSPC where the user limit on watches was reached."""

    class NoWatches:
        def schedule(self, *args: object, **kwargs: object) -> None:
            raise OSError(28, "inotify watch limit reached")

    monkeypatch.setattr(events, "Observer", NoWatches)
    watch = Watch(tmp_path, "events", lambda: None)
    watch.start()
    assert watch.description == "polling"
