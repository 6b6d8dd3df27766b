"""Starting the service: each step is tried until the disk allows it, and the service manager hears why it waits.

It hears as well that a step may take long, at the start and later.
"""

from __future__ import annotations

from collections.abc import Callable

from keyturn.service.backoff import Backoff
from keyturn.service.status import StatusWriter
from keyturn.service.systemd import Notifier
from keyturn.shop.reasons import FolderAway, ShopFault, shop_fault

STEP_S = 300.0
"""The longest that one step may take, in seconds: moving one drop of several gigabytes between two mounts, or reading
the records of a large customer. Not measured."""

LONGEST_NAP_S = 1.0
"""The watchdog hears from a start that waits for the disk at least so often, in seconds."""


class StartUp:
    """Does steps of the start. `stopped` says whether the service is to end; `nap` sleeps for at most some seconds."""

    def __init__(
        self,
        backoff: Backoff,
        status: StatusWriter,
        notifier: Notifier,
        stopped: Callable[[], bool],
        nap: Callable[[float], None],
    ) -> None:
        self._backoff, self._status, self._notifier = backoff, status, notifier
        self._stopped, self._nap = stopped, nap
        self._ready_sent = self._longer = False

    def do(self, step: Callable[[], object]) -> None:
        """Call `step` until the disk lets it succeed, with a pause after each fault, or until the service is stopped.

        It waits for folders that are not mounted yet, too: a server may take longer to start than the shop's machine.

        Raise what `step` raises where it is not a fault that may pass.
        """
        while not self._stopped():
            try:
                step()
            except FolderAway as away:
                self._pause(away)
            except OSError as error:
                if (fault := shop_fault(error)) is None:
                    raise
                self._pause(fault)
            else:
                self._backoff.over()
                return

    def _pause(self, fault: ShopFault) -> None:
        self._backoff.pause(fault)
        self._status.announce_pause(str(fault))
        self._ready_sent = True
        self._wait()

    def _wait(self) -> None:
        while not self._stopped() and not self._backoff.may_try():
            self._notifier.watchdog()
            self._nap(min(LONGEST_NAP_S, self._backoff.left_s()))

    def ask_for_time(self) -> None:
        """Tell the service manager, before a step that may take long, that the service lives.

        Until READY=1 the manager limits the whole start, and gives more time when asked. After READY=1 it limits the
        time between two signs of life instead; that is made longer until `show_life` (sd_notify(3)).
        """
        if self._ready_sent:
            self._notifier.watchdog(STEP_S)
            self._longer = True
        else:
            self._notifier.extend_timeout(STEP_S)

    def show_life(self) -> None:
        """Tell the service manager that the service lives, and that the usual time holds again."""
        usual_s = self._notifier.watchdog_interval_s
        self._notifier.watchdog(2 * usual_s if usual_s and self._longer else None)
        self._longer = False

    def end(self) -> None:
        """Tell the service manager that the start is over."""
        self._notifier.ready()
        self._ready_sent = True
