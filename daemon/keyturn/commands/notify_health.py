"""What `keyturn doctor` says of messages: whether they can be sent. No address is shown: it may hold a password."""

from __future__ import annotations

import stat
import tomllib
from collections.abc import Iterator
from typing import get_args

from keyturn.commands import service_health
from keyturn.commands.finding import Finding, Health, well
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault

DROP_IN = "systemd/keyturn-notify.conf"


def messages(shop: Shop) -> Iterator[Finding]:
    """Tell what keeps messages from being sent, and who may read their addresses. Send nothing."""
    try:
        wanted = settings.load(shop.root).notify
    except (ShopFault, OSError):
        return  # the look at the settings reports it
    if wanted == settings.NotifySettings():
        return
    from keyturn.service import apprise_sending, message_texts

    listed = apprise_sending.all_addresses(wanted)
    if not apprise_sending.is_installed():
        yield Finding(Health.MIND, f"no message is sent: {apprise_sending.MISSING}", apprise_sending.HOW_TO_INSTALL)
    else:
        wrong = apprise_sending.unknown(listed)
        for place in wrong:
            yield Finding(Health.MIND, f"{place} {apprise_sending.UNKNOWN}", "write it as Apprise's documentation says")
        if len(wrong) < len(listed):
            counts = [(event, len(getattr(wanted, event))) for event in get_args(message_texts.Event)]
            yield well(f"messages go to addresses: {', '.join(f'{event} {n}' for event, n in counts if n)}")
    if service_health.has_no_network():
        what = "keyturn.service has no network, so no message leaves this machine"
        yield Finding(Health.MIND, what, f"keyturn service install --with notify, or copy {DROP_IN}")
    yield from _readers(shop)


def _readers(shop: Shop) -> Iterator[Finding]:
    """Tell where others than the file's owner may read the addresses."""
    path = shop.root / settings.FILE_NAME
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        in_file = "notify" in tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return
    if in_file and mode & 0o044:
        what = f"{settings.FILE_NAME} holds the addresses of [notify], and others than its owner may read them"
        yield Finding(Health.MIND, what, f"put them where root alone reads them: {DROP_IN} says how")
