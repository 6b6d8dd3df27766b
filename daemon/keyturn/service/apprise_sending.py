"""Sending one message by Apprise, an extra, to the addresses in [notify] of keyturn.toml.

An address may hold a password or a token, and so may what Apprise says about it. Neither goes into any text: an address
is named by its place, and of what Apprise logs only what kind of fault it tells is told on.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING, get_args

from pydantic import SecretStr

from keyturn.service.message_texts import Event, Message
from keyturn.shop.settings import NotifySettings

if TYPE_CHECKING:
    from apprise import AppriseAsset, NotifyBase

MISSING = "[notify] needs the extra notify"
HOW_TO_INSTALL = "/opt/keyturn/bin/pip install '.[notify]', in the checkout"

UNKNOWN = "is no address that Apprise knows"

_HTTP = re.compile(r"error=(\d{3})\b")
_CONNECTION = re.compile(r"connection error", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Address:
    """One address, and where it stands, such as "notify.ready, entry 2"."""

    place: str
    url: SecretStr


def is_installed() -> bool:
    return find_spec("apprise") is not None


def addresses(settings: NotifySettings, event: Event) -> tuple[Address, ...]:
    """Return the addresses for one event."""
    listed = getattr(settings, event)
    return tuple(Address(f"notify.{event}, entry {number}", url) for number, url in enumerate(listed, start=1))


def all_addresses(settings: NotifySettings) -> tuple[Address, ...]:
    """Return the addresses for all events."""
    return tuple(address for event in get_args(Event) for address in addresses(settings, event))


def unknown(listed: Iterable[Address]) -> tuple[str, ...]:
    """Return the places of those that Apprise cannot use. It must be installed. Nothing is sent."""
    asset = _asset()
    return tuple(address.place for address in listed if _service(address, asset) is None)


def send(message: Message, to: Iterable[Address]) -> str:
    """Send the message to each address. Return in one line what went wrong; empty where nothing did. Never raise."""
    if not is_installed():
        return MISSING
    return "; ".join(f"{address.place} {fault}" for address in to if (fault := _sent(message, address)))


def _sent(message: Message, address: Address) -> str:
    from apprise import Apprise, NotifyFormat, NotifyType

    kinds = {
        "ready": NotifyType.SUCCESS,
        "refused": NotifyType.WARNING,
        "answered": NotifyType.INFO,
        "paused": NotifyType.FAILURE,
    }
    asset = _asset()
    service = _service(address, asset)
    if service is None:
        return UNKNOWN
    with _log() as log:
        try:
            whole = Apprise(service, asset=asset)
            kind, text = kinds[message.event], NotifyFormat.TEXT
            done = whole.notify(message.body, title=message.title, notify_type=kind, body_format=text)
        except Exception as error:  # whatever a service's own code raises; its text may hold the address
            return f"failed ({type(error).__name__})"
    return "" if done else log.fault()


def _service(address: Address, asset: AppriseAsset) -> NotifyBase | None:
    """Return the service behind an address; None where Apprise knows none."""
    from apprise import Apprise

    with _log():
        try:
            return Apprise.instantiate(address.url.get_secret_value(), asset=asset, suppress_exceptions=True)
        except Exception:  # a service's own code; see `_sent`
            return None


def _asset() -> AppriseAsset:
    """Return what Apprise says of its sender: no address in the world outside is named, no picture fetched."""
    from apprise import AppriseAsset

    return AppriseAsset(
        app_id="Keyturn",
        app_desc="Keyturn",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        allow_templates=False,  # a name from outside that looks like one stays as it is
        # no threads of its own: Python would wait for them at the service's end
        async_mode=False,
        service_timeout=0,
    )


class _Log(logging.Handler):
    """Takes all that Apprise logs, and keeps of it only what kind of fault it tells."""

    def __init__(self) -> None:
        super().__init__()
        self._code, self._no_connection = "", False

    def emit(self, record: logging.LogRecord) -> None:
        try:
            said = record.getMessage()
        except Exception:  # logging's own way: a bad line must not end the work
            return
        if found := _HTTP.search(said):
            self._code = found[1]
        self._no_connection |= bool(_CONNECTION.search(said))

    def fault(self) -> str:
        if self._code:
            return f"was not reached: its server answered {self._code}"
        return "was not reached: no connection" if self._no_connection else "was not reached"


@contextmanager
def _log() -> Iterator[_Log]:
    """Yield a log that takes what Apprise says, so that nothing of it reaches standard error or any other log."""
    log, of_apprise = _Log(), logging.getLogger("apprise")
    before = of_apprise.handlers, of_apprise.propagate
    of_apprise.handlers, of_apprise.propagate = [log], False
    try:
        yield log
    finally:
        of_apprise.handlers, of_apprise.propagate = before
