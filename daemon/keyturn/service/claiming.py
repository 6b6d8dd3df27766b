"""Scanning the inbox, and claiming the drop whose turn it is."""

from __future__ import annotations

from collections.abc import Callable

from loguru import logger

from keyturn.inbox.moving import Changed
from keyturn.inbox.waiting import Inbox
from keyturn.service.backoff import Backoff
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.reasons import ShopFault, shop_fault


class Claimer:
    """Takes drops from the inbox to work. `scan_fault` says why the last scan failed; empty where it did not.

    A drop that cannot be taken is passed over for a while. The shop pauses too, until another one could be taken.
    `left_half_done` is called where a claim failed: the drop may then lie in the inbox or in work, and
    `recovery.recover` must find it. `alive` is called before a drop is taken: one from an inbox on another mount is
    copied. Times are seconds on one monotonic clock.
    """

    def __init__(
        self,
        inbox: Inbox,
        folders: DropFolders,
        backoff: Backoff,
        left_half_done: Callable[[], None],
        alive: Callable[[], object] = lambda: None,
    ) -> None:
        self._inbox, self._folders, self._backoff = inbox, folders, backoff
        self._left_half_done, self._alive = left_half_done, alive
        self.scan_fault = ""
        self._failed: dict[str, bool] = {}

    def scan(self, now: float) -> None:
        """Look through the inbox. Log the first of several failures in a row. Never raise."""
        try:
            self._inbox.scan(now)
            self.scan_fault = ""
            if self._inbox.found_left_over():
                self._left_half_done()
        except OSError as error:
            fault = shop_fault(error) or ShopFault(f"the inbox cannot be read: {error}", "put the folder back")
            if not self.scan_fault:
                logger.error("{}", fault)
                self._backoff.told(fault)
            self.scan_fault = str(fault)
        except Exception as error:
            what = f"Keyturn failed while looking through the inbox ({type(error).__name__}: {error})"
            if not self.scan_fault:
                logger.opt(exception=error).error("our own bug while looking through the inbox")
                self._backoff.told(ShopFault(what))
            self.scan_fault = what

    def claim_next(self, now: float, *, small: bool = False, rush: bool = False) -> Claim | None:
        """Claim the first whole drop that can be taken; None where there is none, or a fault pauses the service.

        With `small` only small drops are taken, with `rush` only those in a rush.
        """
        while (ready := self._inbox.next(small=small, rush=rush)) is not None:
            self._alive()
            try:
                claim = self._folders.claim(ready.name, ready.snapshot, rush=ready.rush)
                logger.info("{}: taken from the inbox", claim.name)
                self._failed = dict.fromkeys(self._failed.keys() - {ready.name}, True)
                return claim
            except Changed as changed:
                logger.info("{}; not taken yet", changed)
            except PermissionError as error:
                self._left_half_done()
                note = f"cannot be taken ({error.strerror}): let the shop's group write to it (chmod -R g+w)"
                self._inbox.hold(ready.name, note, now)
            except OSError as error:
                self._left_half_done()
                fault = shop_fault(error) or ShopFault(str(error), "put this drop in order, or take it away")
                self._inbox.hold(ready.name, f"set aside, cannot be taken: {fault}", now)
                if self._failed.setdefault(ready.name, False):  # another was taken since: it is this drop's fault
                    continue
                self._backoff.pause(fault)
                return None
            finally:
                self._inbox.forget(ready.name)
        return None
