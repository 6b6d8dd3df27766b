"""`keyturn run`: run the service until a signal ends it."""

from __future__ import annotations

import signal

from keyturn.commands import output
from keyturn.commands.console import RootOption, shop_of
from keyturn.service.loop import Service


def run(root: RootOption = None) -> None:
    """Run the service: watch the inbox until SIGTERM or Ctrl-C. SIGHUP reads the rules again.

    Example: `keyturn run --root /srv/keyturn`
    """
    service = Service(shop_of(root), on_settings=lambda wanted: output.log_to(wanted.log.level, wanted.log.file))
    obey_signals(service)
    service.run()


def obey_signals(service: Service) -> None:
    """Let SIGTERM and Ctrl-C stop the service, and SIGHUP read its rules again."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: service.stop())
    signal.signal(signal.SIGHUP, lambda *_: service.reload())
