"""Events from the inbox: hints that wake the loop early, never the truth. The scan is the truth."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path
from typing import Literal

from loguru import logger
from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver

from keyturn.shop.mounts import file_system

logging.getLogger("watchdog").setLevel(logging.CRITICAL)
"""Stopping a watcher makes it complain of its own thread; real trouble shows as a dead thread, see `check`."""

NETWORK = frozenset(
    (
        "nfs nfs4 cifs smb3 smbfs 9p afs ceph fuse.sshfs fuse.glusterfs fuse.s3fs fuse.rclone glusterfs "
        "ncpfs vboxsf vmhgfs fuse.vmhgfs-fuse virtiofs prl_fs"
    ).split()
)
"""File systems whose changes by other machines cause no local events (inotify(7), 'Limitations')."""


def mode(wanted: Literal["auto", "events", "polling"], inbox: Path) -> Literal["events", "polling"]:
    if wanted == "auto":
        return "polling" if file_system(inbox) in NETWORK else "events"
    return wanted


class _Wake(FileSystemEventHandler):
    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake

    def on_any_event(self, event: FileSystemEvent) -> None:
        if event.event_type not in ("opened", "closed_no_write"):  # our own reading is no news
            self._wake()


class Watch:
    """Wakes the loop on events; where they cannot be had it says so and the scan alone does the work.

    Only the inbox itself is watched, not each drop: while a drop is arriving the loop looks often
    anyway, and one watch cannot run into the system's watch limit.
    """

    def __init__(self, inbox: Path, wanted: Literal["auto", "events", "polling"], wake: Callable[[], None]) -> None:
        self._inbox = inbox
        self._wanted = wanted
        self._wake = wake
        self._observer: BaseObserver | None = None
        self._inode: int | None = None
        self.says = ""

    def start(self) -> None:
        self.stop()
        self.says = "polling"
        if mode(self._wanted, self._inbox) == "polling":
            return
        observer = Observer()
        try:
            observer.schedule(_Wake(self._wake), str(self._inbox), recursive=False)
            observer.start()
            self._inode = self._inbox.stat().st_ino
        except OSError as error:
            logger.warning("no events from the inbox ({}); scanning alone", error)
            return
        self._observer = observer
        self.says = "events and scans"

    def check(self) -> None:
        """Starts anew where the watcher died or the inbox was replaced; called once a scan."""
        if self._observer is None:
            return
        try:
            replaced = self._inbox.stat().st_ino != self._inode
        except OSError:
            return  # the scan reports a missing inbox; the watcher is looked at again afterwards
        if replaced or not self._observer.is_alive():
            logger.warning("the watcher lost the inbox; starting it anew")
            self.start()

    def stop(self) -> None:
        observer, self._observer = self._observer, None
        if observer is not None and observer.is_alive():
            observer.stop()
            observer.join(timeout=5)
