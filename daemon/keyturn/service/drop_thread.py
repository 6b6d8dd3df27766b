"""The workbench: one drop at a time, on a thread of its own, so that the loop goes on looking and telling."""

from __future__ import annotations

import threading
from collections.abc import Callable

from loguru import logger

from keyturn.service.backoff import Patience
from keyturn.service.claimed_drop import Foreman, Outcome
from keyturn.service.claims import Claim
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import Working


class Workbench:
    """`pending` are claimed drops still to be made, `working` is the one in hand. `doubtful`: a fault cut a step
    off, and the folders must be asked which drops are in work.

    `foreman` gives one with the rules of the moment; `told` hears each progress and None when a drop is done with,
    after which `ended` is called; `stamp` gives the time as ISO 8601.
    """

    def __init__(
        self,
        foreman: Callable[[], Foreman],
        patience: Patience,
        stamp: Callable[[], str],
        told: Callable[[Working | None], None],
        ended: Callable[[], None],
    ) -> None:
        self._foreman, self._patience, self._stamp = foreman, patience, stamp
        self._told, self._ended = told, ended
        self.pending: list[Claim] = []
        self.working: Working | None = None
        self.doubtful = False
        self._thread: threading.Thread | None = None

    def busy(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def start(self, claim: Claim) -> None:
        self.working = Working(name=claim.name, stage="reading", done=0, total=0, since=self._stamp())
        self._thread = threading.Thread(target=self._work, args=(claim,), name="bench")
        self._thread.start()

    def join(self, timeout: float) -> None:
        if self._thread is not None:
            self._thread.join(timeout)

    def progress(self, stage: str, done: int, total: int) -> None:
        working = self.working
        if working is not None:
            self.working = working.model_copy(update={"stage": stage, "done": done, "total": total})
            self._told(self.working)

    def _work(self, claim: Claim) -> None:
        try:
            if self._foreman().process(claim) is not Outcome.STOPPED:
                self._patience.over()
        except ShopFault as fault:
            self.doubtful = True
            self._patience.pause(fault)
        except Exception as error:  # a bug in moving drops: the drop stays in work and is tried again
            logger.opt(exception=error).error("{}: our own bug while moving it", claim.name)
            self.pending.append(claim)
            what = f"Keyturn failed on {claim.name} ({type(error).__name__}: {error})"
            self._patience.pause(ShopFault(what, "see the log"))
        finally:
            self.working = None
            self._told(None)
            self._ended()
