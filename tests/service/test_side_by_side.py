"""Drops that are made at the same time: one of a job at a time, and each with the time that it had."""

from __future__ import annotations

import threading

import pytest

from keyturn.service.side_by_side import SharedTime, SideBySide
from keyturn.shop.progress import Stopped
from samples import PATIENCE_S, Clock, until

VAN, BUS = ("fern-hollow", "van"), ("fern-hollow", "bus")


def test_one_job_is_taken_by_one_drop_at_a_time_and_others_meanwhile() -> None:
    beside = SideBySide()
    order: list[str] = []
    first_has_it, let_go = threading.Event(), threading.Event()

    def first() -> None:
        with beside.alone_with([VAN, BUS]):
            first_has_it.set()
            let_go.wait(PATIENCE_S)
            order.append("first")

    def second() -> None:
        with beside.alone_with([BUS]):
            order.append("second")

    threads = [threading.Thread(target=first), threading.Thread(target=second)]
    threads[0].start()
    assert first_has_it.wait(PATIENCE_S)
    threads[1].start()
    with beside.alone_with([("fern-hollow", "cart")]):
        order.append("another job")
    let_go.set()
    for thread in threads:
        thread.join(PATIENCE_S)
    assert order == ["another job", "first", "second"]


def test_a_drop_that_waits_for_another_can_be_stopped() -> None:
    beside = SideBySide()

    def stopped() -> None:
        raise Stopped

    with beside.alone_with([VAN]), pytest.raises(Stopped), beside.alone_with([VAN], stopped):
        pass
    with beside.alone_with([VAN]):
        pass


def test_a_job_is_given_back_after_an_error() -> None:
    beside = SideBySide()
    with pytest.raises(ZeroDivisionError), beside.alone_with([VAN]):
        raise ZeroDivisionError
    taken = threading.Event()

    def take() -> None:
        with beside.alone_with([VAN]):
            taken.set()

    threading.Thread(target=take).start()
    until(taken.is_set)


def test_the_seconds_of_drops_that_share_the_workers_are_shared_out(clock: Clock) -> None:
    time = SharedTime(clock)
    start = time.now()
    time.begin()
    clock.at += 10
    assert time.now() - start == 10, "alone a drop has every second"
    time.begin()
    clock.at += 10
    assert time.now() - start == 15, "of two drops each has half"
    time.end()
    clock.at += 10
    assert time.now() - start == 25
    time.end()
    clock.at += 10
    assert time.now() - start == 35


def test_what_needs_the_books_is_left_while_a_drop_is_on_the_move() -> None:
    beside, done, moves, let_go = SideBySide(), list[str](), threading.Event(), threading.Event()

    def move() -> None:
        with beside.moving:
            moves.set()
            let_go.wait(PATIENCE_S)

    thread = threading.Thread(target=move)
    thread.start()
    moves.wait(PATIENCE_S)
    beside.if_nothing_moves(lambda: done.append("too soon"))
    let_go.set()
    thread.join(PATIENCE_S)
    beside.if_nothing_moves(lambda: done.append("done"))
    assert done == ["done"]
