"""Messages are sent beside the work: one that cannot be sent costs a line in the log."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator

import pytest
from loguru import logger
from pydantic import SecretStr

from keyturn.service import messages
from keyturn.service.apprise_sending import Address
from keyturn.service.message_pacing import MOST_SINGLE
from keyturn.service.message_texts import Event, Message
from keyturn.service.messages import Messages
from keyturn.shop.settings import NotifySettings
from samples import Clock, until

HERE = (SecretStr("json://here"),)
ALL = NotifySettings(ready=HERE, refused=HERE, paused=HERE)


class Sender:
    """Notes what is sent, and says each time what went wrong."""

    def __init__(self, fault: str = "") -> None:
        self.sent: list[tuple[str, tuple[str, ...]]] = []
        self.fault, self.go = fault, threading.Event()
        self.go.set()

    def __call__(self, message: Message, to: Iterable[Address]) -> str:
        assert self.go.wait(60)
        self.sent.append((message.title, tuple(address.place for address in to)))
        return self.fault

    @property
    def titles(self) -> list[str]:
        return [title for title, _ in self.sent]


def message(number: int, event: Event = "ready") -> Message:
    return Message(event, f"{event} {number}", ())


def close(of: Messages) -> None:
    of.end()
    of.join(60)


@pytest.fixture
def logged() -> Iterator[list[str]]:
    lines: list[str] = []
    sink = logger.add(lambda message: lines.append(message.record["message"]))
    yield lines
    logger.remove(sink)


def test_each_goes_to_the_addresses_of_its_event() -> None:
    sender = Sender()
    made = Messages(sender)
    made.add(message(1), NotifySettings(ready=HERE * 2))
    made.add(message(2, "refused"), NotifySettings(ready=HERE))
    close(made)
    assert sender.sent == [("ready 1", ("notify.ready, entry 1", "notify.ready, entry 2"))]


def test_where_nobody_wants_messages_there_is_no_thread() -> None:
    before = threading.active_count()
    made = Messages(Sender())
    made.add(message(1), NotifySettings())
    assert threading.active_count() == before
    close(made)


def test_when_more_than_ten_come_within_a_minute_the_rest_is_one_digest(clock: Clock) -> None:
    sender = Sender()
    made = Messages(sender, clock)
    for number in range(MOST_SINGLE + 5):
        made.add(message(number), ALL)
    made.add(message(0, "paused"), ALL)
    until(lambda: "paused 0" in sender.titles)  # each event has its own count: a pause is told at once
    assert sender.titles == [*(f"ready {n}" for n in range(MOST_SINGLE)), "paused 0"]
    clock.at += 61
    made.add(message(99), ALL)  # it finds the digest due
    until(lambda: len(sender.sent) == MOST_SINGLE + 3)
    assert sender.titles[-2:] == ["5 drops are ready", "ready 99"]
    close(made)


def test_at_the_end_a_digest_does_not_wait_for_its_minute(clock: Clock) -> None:
    sender = Sender()
    made = Messages(sender, clock)
    for number in range(MOST_SINGLE + 5):
        made.add(message(number), ALL)
    close(made)
    assert sender.titles[MOST_SINGLE:] == ["5 drops are ready"]


def test_what_cannot_be_sent_costs_one_line(logged: list[str]) -> None:
    made = Messages(Sender("notify.ready, entry 1 was not reached; notify.ready, entry 2 was not reached"))
    made.add(message(1), ALL)
    close(made)
    assert logged == [
        "a message about ready was not sent to all: "
        "notify.ready, entry 1 was not reached; notify.ready, entry 2 was not reached"
    ]


def test_a_slow_server_never_blocks_the_work_and_not_the_end_for_long(logged: list[str]) -> None:
    sender = Sender()
    sender.go.clear()
    made = Messages(sender)
    for number in range(2 * messages.MOST_WAITING):
        made.add(message(number), ALL)
    made.end()
    made.join(0.01)
    assert "messages are sent too slowly: one about ready was left out" in logged
    sender.go.set()
    until(lambda: len(sender.sent) >= MOST_SINGLE)
