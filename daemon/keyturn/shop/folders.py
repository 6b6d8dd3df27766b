"""The shop's folders. The folder a drop is in is its status: inbox -> work -> (outbox + archive) | rejects."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from keyturn.shop import service_lock
from keyturn.shop.file_modes import CLOSED_DIR, KEPT_DIR, OUTBOX_DIR, SHARED_DIR, WORK_DIR, make_folder
from keyturn.shop.reasons import FolderAway, ShopFault, shop_fault


@dataclass(frozen=True, slots=True)
class Shop:
    """The folders of the shop whose folder is `root`."""

    root: Path

    @property
    def inbox(self) -> Path:
        return self.root / "inbox"

    @property
    def work(self) -> Path:
        return self.root / "work"

    @property
    def outbox(self) -> Path:
        return self.root / "outbox"

    @property
    def archive(self) -> Path:
        return self.root / "archive"

    @property
    def rejects(self) -> Path:
        return self.root / "rejects"

    @property
    def state(self) -> Path:
        return self.root / "state"

    @property
    def rules(self) -> Path:
        return self.root / "rules"

    @property
    def fonts(self) -> Path:
        """Fonts for words, beside those that drops bring."""
        return self.root / "fonts"

    @property
    def building(self) -> Path:
        """Where revisions are built. It lies in the outbox, so that publishing is one rename."""
        return self.outbox / ".building"

    @property
    def board(self) -> Path:
        return self.outbox / "board.html"

    @property
    def numbers(self) -> Path:
        """Which revision numbers are taken. They stay taken when outbox and archive are cleared."""
        return self.state / "numbers"

    @property
    def published(self) -> Path:
        """The digest of each published revision, where the service alone writes."""
        return self.state / "published"

    @property
    def kept(self) -> Path:
        """What workers made, kept for later drops. It can be deleted at any time."""
        return self.state / "kept"

    @property
    def lock(self) -> Path:
        return self.state / "service.lock"

    def create(self) -> None:
        """Make the folders that are missing, closed to all but the shop's group.

        Raise `ShopFault` where the disk does not allow it.
        """
        shared = {self.inbox: SHARED_DIR, self.outbox: OUTBOX_DIR, self.rejects: SHARED_DIR, self.archive: KEPT_DIR}
        private = dict.fromkeys((self.state, self.rules, self.fonts), CLOSED_DIR) | {self.work: WORK_DIR}
        try:
            for folder, mode in ({self.root: CLOSED_DIR} | shared | private).items():
                make_folder(folder, mode)
        except OSError as error:
            raise shop_fault(error) or error from error

    def require(self) -> None:
        """Raise `ShopFault` where there is no shop, `FolderAway` where one of its folders is not there, and name it."""
        self._require_state()
        for folder in (self.inbox, self.work, self.outbox, self.archive, self.rejects):
            if not folder.is_dir():
                mend = f"mount it or put it back; if it is lost, run: keyturn init {self.root}"
                raise FolderAway(f"{folder} is not there", mend)

    def _require_state(self) -> None:
        if not self.state.is_dir():
            raise ShopFault(f"{self.state} is not there", f"run: keyturn init {self.root}")

    def is_running(self) -> bool:
        """Tell whether a service holds this shop's lock. Raise `ShopFault` where the lock cannot be read."""
        try:
            return service_lock.is_held(self.lock)
        except PermissionError as error:
            raise ShopFault(f"{self.lock} cannot be read", "ask as a member of the shop's group, or as root") from error

    @contextmanager
    def held(self) -> Iterator[None]:
        """Hold the shop's lock, so that one service runs on it.

        Raise `ShopFault` where another process holds it, or there is no shop.
        """
        self._require_state()
        with service_lock.hold(self.lock) as locked:
            if not locked:
                pid = service_lock.holder(self.lock)
                process = f" (process {pid})" if pid else ""
                raise ShopFault(f"another keyturn{process} runs on the shop {self.root}", "stop it first")
            yield
