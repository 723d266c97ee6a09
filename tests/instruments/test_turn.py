"""The right to talk to an instrument: one thread at a time, in order, and the safe state first."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from benchctl.clock import VirtualClock
from benchctl.instruments.turn import Turn

DEADLINE_S = 30.0


def begun(work: Callable[[], None]) -> threading.Thread:
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread


def ended(*threads: threading.Thread) -> bool:
    for thread in threads:
        thread.join(DEADLINE_S)
    return not any(thread.is_alive() for thread in threads)


def test_the_thread_that_has_it_may_take_it_again() -> None:
    turn = Turn()
    with turn.taken(), turn.taken(), turn.taken_if_free() as is_ours:
        assert is_ours


def test_another_thread_gets_it_only_when_it_is_given_back() -> None:
    turn, order = Turn(), list[str]()
    waiting = threading.Event()

    def other() -> None:
        waiting.set()
        with turn.taken():
            order.append("other")

    with turn.taken():
        thread = begun(other)
        assert waiting.wait(DEADLINE_S)
        order.append("first")
    assert ended(thread)
    assert order == ["first", "other"]


def test_a_thread_that_asks_again_and_again_keeps_nobody_from_it() -> None:
    """On a virtual clock, as the guard does of an instrument that is slower than its readings are wanted."""
    clock, order = VirtualClock(), list[str]()
    turn = Turn(clock.sleep)

    def busy() -> None:
        for _ in range(50):
            with turn.taken(), turn.resting():
                clock.sleep(0.6)
            order.append("busy")

    with clock.take_part():
        clock.start_thread(busy, "busy")
        clock.sleep(0.1)
        with turn.taken():
            order.append("patient")
        clock.sleep(60.0)
    assert order.index("patient") <= 1
    assert order.count("busy") == 50


def test_those_that_wait_get_it_in_the_order_in_which_they_asked() -> None:
    clock, order = VirtualClock(), list[int]()
    turn = Turn(clock.sleep)

    def one(number: int) -> Callable[[], None]:
        def work() -> None:
            clock.sleep(0.1 * number)
            with turn.taken(), turn.resting():
                clock.sleep(2.0)
            order.append(number)

        return work

    with clock.take_part():
        for number in (3, 1, 2, 4):
            clock.start_thread(one(number), str(number))
        clock.sleep(30.0)
    assert order == [1, 2, 3, 4]


def test_the_safe_state_comes_before_all_that_wait() -> None:
    turn, order = Turn(), list[str]()
    held, release = threading.Event(), threading.Event()

    def holder() -> None:
        with turn.taken():
            held.set()
            release.wait(DEADLINE_S)

    def waiter() -> None:
        with turn.taken():
            order.append("run")

    def urgent() -> None:
        with turn.taken_at_once(DEADLINE_S) as may_talk:
            assert may_talk
            order.append("safe state")

    threads = [begun(holder)]
    assert held.wait(DEADLINE_S)
    threads += [begun(waiter), begun(urgent)]
    while len(turn._waiting) < 2:  # both wait now
        threading.Event().wait(0.001)
    release.set()
    assert ended(*threads)
    assert order == ["safe state", "run"]


def test_a_thread_that_only_lets_the_instrument_be_quiet_is_not_waited_for_by_the_safe_state() -> None:
    turn = Turn()
    rests, release = threading.Event(), threading.Event()

    def holder() -> None:
        with turn.taken(), turn.resting():
            rests.set()
            release.wait(DEADLINE_S)

    thread = begun(holder)
    assert rests.wait(DEADLINE_S)
    with turn.taken_at_once(DEADLINE_S) as may_talk:
        assert may_talk
    release.set()
    assert ended(thread)


def test_the_safe_state_waits_no_longer_than_it_may() -> None:
    turn = Turn()
    held, release = threading.Event(), threading.Event()

    def holder() -> None:
        with turn.taken():
            held.set()
            release.wait(DEADLINE_S)

    thread = begun(holder)
    assert held.wait(DEADLINE_S)
    with turn.taken_at_once(0.05) as may_talk:
        assert not may_talk
    release.set()
    assert ended(thread)
    with turn.taken_if_free() as is_ours:
        assert is_ours, "no place was left behind"


def test_an_end_of_waiting_by_an_error_leaves_no_place_behind() -> None:
    def interrupted(_seconds: float) -> None:
        raise KeyboardInterrupt

    turn = Turn(interrupted)
    held, release = threading.Event(), threading.Event()

    def holder() -> None:
        with turn.taken():
            held.set()
            release.wait(DEADLINE_S)

    thread = begun(holder)
    assert held.wait(DEADLINE_S)
    with pytest.raises(KeyboardInterrupt), turn.taken():
        pass
    release.set()
    assert ended(thread)
    with turn.taken_if_free() as is_ours:
        assert is_ours
