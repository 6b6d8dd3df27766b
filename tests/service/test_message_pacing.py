"""Up to ten messages a minute go out one by one; what is more waits for a digest, once a minute."""

from __future__ import annotations

import math

from keyturn.service.message_pacing import MOST_SINGLE, WINDOW_S, MessagePacing
from keyturn.service.message_texts import Message


def message(number: int) -> Message:
    return Message("ready", f"Ready: van-{number}", ())


def taken(pacing: MessagePacing, times: list[float]) -> list[str]:
    """Return the titles that went out at once."""
    sent = [pacing.take(message(number), at) for number, at in enumerate(times)]
    return [m.title for m in sent if m]


def test_ten_in_a_minute_go_out_one_by_one_and_the_eleventh_waits_for_the_digest() -> None:
    pacing = MessagePacing()
    assert taken(pacing, [float(at) for at in range(MOST_SINGLE)]) == [f"Ready: van-{n}" for n in range(MOST_SINGLE)]
    assert pacing.due_at == math.inf
    assert taken(pacing, [20.0, 21.0, 22.0]) == []
    assert pacing.due_at == 20.0 + WINDOW_S
    assert pacing.digest(79.9) is None
    digest = pacing.digest(80.0)
    assert digest and digest.title == "3 drops are ready"
    assert digest.lines == ("Ready: van-0", "Ready: van-1", "Ready: van-2")
    assert pacing.digest(1000.0) is None


def test_ten_within_more_than_a_minute_go_on_one_by_one() -> None:
    pacing = MessagePacing()
    times = [7.0 * number for number in range(100)]  # never more than 9 in 60 s
    assert len(taken(pacing, times)) == 100


def test_while_they_come_fast_there_is_one_digest_a_minute_and_then_single_ones_again() -> None:
    pacing = MessagePacing()
    taken(pacing, [0.0] * (2 * MOST_SINGLE + 1))
    first = pacing.digest(60.0)
    assert first and first.title == f"{MOST_SINGLE + 1} drops are ready"
    assert taken(pacing, [61.0]) == [], "more than ten came in that minute: no single ones yet"
    second = pacing.digest(120.0)
    assert second and second.title == "Ready: van-0", "a digest of one is that one"
    assert pacing.due_at == math.inf
    assert taken(pacing, [121.0]) == ["Ready: van-0"]


def test_at_the_end_what_waits_is_told_at_once() -> None:
    pacing = MessagePacing()
    taken(pacing, [0.0] * (MOST_SINGLE + 2))
    rest = pacing.rest()
    assert rest and rest.title == "2 drops are ready"
    assert pacing.rest() is None
