"""Whether a fault is one drop's or the whole shop's. A drop with a fault of its own is set aside and the others go on.

After a drop's first fault the others have their turn. Where another one goes through, and the fault comes again, it is
this drop's: it is set aside and seldom tried again. Where the others fail as well, the shop pauses. A file of the drop
that the service may not use is the drop's fault at once, and pauses nothing. work/<claim>/aside.json remembers this.
"""

from __future__ import annotations

import errno
import hashlib
import os
import shlex
import stat
from collections.abc import Callable, Iterable
from itertools import islice
from pathlib import Path

from loguru import logger

from keyturn.inbox.survey import OURS
from keyturn.service.claims import Claim, read_record, write_record
from keyturn.shop import durable_files
from keyturn.shop.disk_look import DiskRoom, disk_room
from keyturn.shop.reasons import RadioFault, ShopFault
from keyturn.shop.state_records import ASIDE_FILE, AsideDrop

LOOK_EVERY_S = 10.0
"""Seconds between two looks at whether what a drop was set aside for has changed: its files, or a full disk."""

MOST_LOOKED_AT = 20_000
"""The look ends after so many entries."""

_OF_THE_FILE = frozenset({errno.EACCES, errno.EPERM, errno.ELOOP, errno.ENAMETOOLONG, errno.EISDIR, errno.ENOTDIR})
_OF_THE_FILE |= {errno.EBUSY, errno.ENOTEMPTY, errno.EEXIST, errno.EINVAL, errno.ENXIO, errno.EXDEV}
"""Errors that come from what a file is, where it lies in the drop. A disk that is full or broken gives others."""


class SetAside:
    """The drops in work that had a fault.

    `stamp` returns the time as ISO 8601, `monotonic` seconds, `retry_s` how long a drop is set aside, in seconds.
    """

    def __init__(
        self, work: Path, stamp: Callable[[], str], monotonic: Callable[[], float], retry_s: Callable[[], float]
    ) -> None:
        self._work, self._stamp, self._monotonic, self._retry_s = work, stamp, monotonic, retry_s
        self._known: dict[str, AsideDrop] = {}
        self._tried_at: dict[str, float] = {}
        self._looked_at = monotonic()

    def renew(self, claims: Iterable[Claim]) -> None:
        """Take `claims` for all the drops in work. Read what was noted beside those of which we know nothing."""
        known: dict[str, AsideDrop] = {}
        for claim in claims:
            noted = self._known.get(claim.id) or _noted(self._work / claim.id)
            if noted is not None:
                known[claim.id] = noted
                self._tried_at.setdefault(claim.id, self._monotonic())
        self._known = known

    def add(self, claim: Claim, error: Exception, fault: ShopFault | None) -> bool:
        """Note a fault of a drop. Return whether it is the drop's own, so that the shop need not pause.

        `fault` is the machine's, None where `error` is a bug of ours.
        """
        drop = self._work / claim.id / "drop"
        own = _own_fault(drop, error) if fault else _our_bug(error)
        alone = own is not None or isinstance(error, RadioFault)
        told = own or fault
        assert told, "a bug of ours has words of its own"
        before = self._known.get(claim.id)
        noted = AsideDrop(
            name=claim.name,
            place=f"work/{claim.id}/drop",
            what=told.what,
            mend=told.mend,
            since=before.since if before else self._stamp(),
            times=before.times + 1 if before else 1,
            others_went=alone or (before is not None and before.others_went),
            is_own=own is not None,
            seen=_look(drop),
            disks={} if alone else _disks(error, self._work),
        )
        self._tried_at[claim.id] = self._monotonic()
        self._keep(claim.id, noted)
        if noted.is_aside() and not (before and before.is_aside()):
            logger.error("{}: set aside, the others go on: {}", claim.name, told)
        return alone or noted.is_aside()

    def went(self, claim: Claim, *, after_a_pause: bool) -> None:
        """Forget a drop that has gone on: any fault of another was not every drop's.

        `after_a_pause`: the shop was paused until now. What was set aside meanwhile may have met the shop's fault, so
        it is tried soon.
        """
        self._known.pop(claim.id, None)
        for name, noted in list(self._known.items()):
            if not noted.others_went:
                self._keep(name, noted.model_copy(update={"others_went": True}))
            elif after_a_pause and not noted.is_own:
                self._tried_at[name] = self._monotonic() - self._retry_s()

    def free(self, claims: Iterable[Claim]) -> list[Claim]:
        """Return those of `claims` that need not wait, those with the fewest faults first."""
        self._free_what_changed()
        return sorted((claim for claim in claims if self._is_due(claim.id)), key=self._times)

    def _times(self, claim: Claim) -> int:
        noted = self._known.get(claim.id)
        return noted.times if noted else 0

    def has_a_turn(self, claim: Claim) -> bool:
        """Tell whether the drop is tried before those in the inbox: it had no fault, or another went through since."""
        noted = self._known.get(claim.id)
        return noted is None or noted.others_went

    def knows(self, claim: Claim) -> bool:
        """Tell whether the drop had a fault."""
        return claim.id in self._known

    def holds(self, claim: Claim) -> bool:
        """Tell whether the drop is set aside."""
        noted = self._known.get(claim.id)
        return noted is not None and noted.is_aside()

    def rows(self) -> tuple[AsideDrop, ...]:
        """Return what was set aside, for status and board."""
        return tuple(noted for noted in list(self._known.values()) if noted.is_aside())

    def _is_due(self, name: str) -> bool:
        noted = self._known.get(name)
        return noted is None or not noted.is_aside() or self._monotonic() >= self._tried_at[name] + self._retry_s()

    def _free_what_changed(self) -> None:
        now = self._monotonic()
        if now - self._looked_at < LOOK_EVERY_S:
            return
        self._looked_at = now
        for name, noted in list(self._known.items()):  # drops that are being made come and go meanwhile
            if noted.is_aside() and (_look(self._work / name / "drop") != noted.seen or _has_room(noted)):
                self._tried_at[name] = now - self._retry_s()

    def _keep(self, name: str, noted: AsideDrop) -> None:
        self._known[name] = noted
        try:
            write_record(self._work / name / ASIDE_FILE, noted)
        except OSError as error:
            logger.warning("{}: could not note that it is set aside: {}", noted.name, error)


def _noted(place: Path) -> AsideDrop | None:
    try:
        return read_record(place / ASIDE_FILE, AsideDrop)
    except OSError:
        return None


def _our_bug(error: Exception) -> ShopFault:
    what = f"Keyturn itself failed while it moved this drop ({type(error).__name__}: {error})"
    return ShopFault(what, "tell whoever runs Keyturn: the service's log has the details")


def _os_error(error: Exception) -> OSError | None:
    """Return the system's error that `error` is, or that was its cause."""
    cause = error if isinstance(error, OSError) else error.__cause__
    return cause if isinstance(cause, OSError) else None


def _disks(error: Exception, work: Path) -> dict[str, DiskRoom]:
    """Return the folders in which an error of the machine struck, and what their disks take now."""
    cause = _os_error(error)
    if cause is None:
        return {}
    names = (os.fsdecode(name) for name in (cause.filename, cause.filename2) if isinstance(name, (str, bytes)))
    folders = {_folder_there(Path(name)) for name in names} or {work}
    return {str(folder): room for folder in folders if (room := disk_room(folder))}


def _folder_there(path: Path) -> Path:
    while not os.path.isdir(path) and path != path.parent:  # noqa: PTH112 - Path.is_dir raises EIO
        path = path.parent
    return path


def _has_room(noted: AsideDrop) -> bool:
    rooms = ((before, disk_room(Path(folder))) for folder, before in noted.disks.items())
    return any(now.is_more_than(before) for before, now in rooms if now)


def _own_fault(drop: Path, error: Exception) -> ShopFault | None:
    """Return the fault in the words of whoever may mend it; None where it does not come from a file of the drop."""
    cause = _os_error(error)
    if cause is None or cause.errno not in _OF_THE_FILE:
        return None
    if not isinstance(cause.filename, (str, bytes)):  # of an open folder it is the descriptor's number
        return None
    path = Path(os.fsdecode(cause.filename))
    if not path.is_relative_to(drop):
        return None
    closed = cause.errno in (errno.EACCES, errno.EPERM)
    if closed:
        path = _in_the_way(drop, path)
    inside = path.relative_to(drop).as_posix()
    if closed:
        mode = "o+rwx" if path == drop or os.path.isdir(path) else "o+r"  # noqa: PTH112 - Path.is_dir raises EACCES
        return ShopFault(f"the service may not read {inside}", f"chmod {mode} {shlex.quote(str(path))}")
    if cause.errno == errno.ENAMETOOLONG:
        return ShopFault("a path in it is longer than the system's 4,096 bytes", "use fewer and shorter folder names")
    return ShopFault(f"{inside}: {cause.strerror}", "put the files in order, or take the drop away")


def _in_the_way(drop: Path, path: Path) -> Path:
    """Return `path`, or the folder that may not be entered to get there."""
    while path != drop and not os.path.lexists(path):
        path = path.parent
    return path


def _look(drop: Path) -> str:
    """Return a fingerprint of names, modes, sizes and times. What cannot be looked at counts with its name alone.

    The times of folders are left out: they change with what Keyturn itself writes and removes there.
    """
    total = hashlib.sha256()
    for line in islice(_lines(drop), MOST_LOOKED_AT):
        total.update(line.encode("utf-8", "surrogateescape"))
    return total.hexdigest()


def _lines(drop: Path) -> Iterable[str]:
    for folder, folders, files in os.walk(drop):  # follows no link, and leaves out what it may not list
        folders.sort()
        for name in (".", *sorted(files)):
            if name in OURS or durable_files.HALF_WRITTEN.fullmatch(name):
                continue
            try:
                seen = os.lstat(f"{folder}/{name}")
            except OSError:
                yield f"{folder}/{name}\0"
                continue
            times = "" if stat.S_ISDIR(seen.st_mode) else f"{seen.st_size} {seen.st_mtime_ns} {seen.st_ctime_ns}"
            yield f"{folder}/{name}\0{seen.st_mode} {times}\0"
