"""File system events from the inbox wake the loop early. They may get lost: only a scan says what is there."""

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
"""watchdog logs an error when an observer is stopped. A real failure ends its thread, which `check` sees."""

NETWORK_FILE_SYSTEMS = frozenset(
    (
        "nfs nfs4 cifs smb3 smbfs 9p afs ceph fuse.sshfs fuse.glusterfs fuse.s3fs fuse.rclone glusterfs "
        "ncpfs vboxsf vmhgfs fuse.vmhgfs-fuse virtiofs prl_fs"
    ).split()
)
"""File systems on which changes by other machines cause no local events (inotify(7), 'Limitations')."""


def mode(wanted: Literal["auto", "events", "polling"], inbox: Path) -> Literal["events", "polling"]:
    """Return how changes in the inbox are noticed. "auto" is polling on a network file system, else events."""
    if wanted == "auto":
        return "polling" if file_system(inbox) in NETWORK_FILE_SYSTEMS else "events"
    return wanted


class _WakeOnChange(FileSystemEventHandler):
    """Calls `wake` on every event but reads, of which Keyturn's own scans cause many."""

    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake

    def on_any_event(self, event: FileSystemEvent) -> None:
        if event.event_type not in ("opened", "closed_no_write"):
            self._wake()


class Watch:
    """Calls `wake` on events in the inbox. Where there are none, the regular scans notice changes alone.

    `description` says which of the two is at work. Only the inbox itself is watched, not the drops in it: the loop
    scans often while a drop arrives, and a single watch stays far below the system's limit on watches.
    """

    def __init__(self, inbox: Path, wanted: Literal["auto", "events", "polling"], wake: Callable[[], None]) -> None:
        self._inbox = inbox
        self._wanted = wanted
        self._wake = wake
        self._observer: BaseObserver | None = None
        self._inode: int | None = None
        self.description = ""

    def start(self) -> None:
        """Watch the inbox anew. Log a warning, and leave the work to the scans, where events are not to be had."""
        self.stop()
        self.description = "polling"
        if mode(self._wanted, self._inbox) == "polling":
            return
        observer = Observer()
        try:
            observer.schedule(_WakeOnChange(self._wake), str(self._inbox), recursive=False)
            observer.start()
            self._inode = self._inbox.stat().st_ino
        except OSError as error:
            logger.warning("no events from the inbox ({}); the regular scans go on", error)
            return
        self._observer = observer
        self.description = "events and scans"

    def check(self) -> None:
        """Watch anew where the observer's thread ended or the inbox was replaced. Call it once a scan."""
        if self._observer is None:
            return
        try:
            replaced = self._inbox.stat().st_ino != self._inode
        except OSError:
            return  # the scan reports a missing inbox; the next call checks again
        if replaced or not self._observer.is_alive():
            logger.warning("events from the inbox stopped; watching it anew")
            self.start()

    def stop(self) -> None:
        observer, self._observer = self._observer, None
        if observer is not None and observer.is_alive():
            observer.stop()
            observer.join(timeout=5)
