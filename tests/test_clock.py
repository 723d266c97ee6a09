"""What the clocks promise."""

from __future__ import annotations

import signal
import threading

import pytest

from benchctl.clock import RealClock, VirtualClock


def test_virtual_time_jumps_over_a_sleep() -> None:
    clock = VirtualClock()
    with clock.take_part():
        clock.sleep(7200.0)
    assert clock.now() == 7200.0


def test_virtual_wall_time_moves_with_virtual_time() -> None:
    clock = VirtualClock()
    start = clock.wall()
    with clock.take_part():
        clock.sleep(90.0)
    assert (clock.wall() - start).total_seconds() == 90.0


def test_two_threads_take_turns_in_order_of_their_deadlines() -> None:
    clock = VirtualClock()
    events: list[tuple[str, float]] = []

    def guard() -> None:
        for _ in range(4):
            clock.sleep(1.0)
            events.append(("guard", clock.now()))

    with clock.take_part():
        thread = clock.start_thread(guard, "guard")
        for _ in range(2):
            clock.sleep(1.5)
            events.append(("runner", clock.now()))
        clock.sleep(10.0)
    thread.join()
    assert events == [
        ("guard", 1.0),
        ("runner", 1.5),
        ("guard", 2.0),
        ("runner", 3.0),  # fell asleep before the guard did
        ("guard", 3.0),
        ("guard", 4.0),
    ]


def test_time_stands_still_while_a_thread_of_the_run_works() -> None:
    clock = VirtualClock()
    seen: list[float] = []

    def other() -> None:
        clock.sleep(1.0)
        seen.append(clock.now())

    with clock.take_part():
        thread = clock.start_thread(other, "other")
        before = clock.now()
        assert not thread.join(0.05)  # a real wait, in which nothing may happen
        assert clock.now() == before
        assert seen == []
        clock.sleep(2.0)
    assert seen == [1.0]


def test_a_signal_ends_a_virtual_sleep_at_the_time_it_is_set() -> None:
    clock = VirtualClock()
    stop = clock.signal()

    def setter() -> None:
        clock.sleep(3.0)
        stop.set()

    with clock.take_part():
        clock.start_thread(setter, "setter")
        assert clock.sleep(1000.0, until=stop) is True
        assert clock.now() == 3.0


def test_a_sleep_that_runs_its_time_says_so() -> None:
    clock = VirtualClock()
    with clock.take_part():
        assert clock.sleep(1.0, until=clock.signal()) is False


def test_a_stranger_may_not_sleep_on_a_virtual_clock() -> None:
    with pytest.raises(RuntimeError, match="takes part"):
        VirtualClock().sleep(1.0)


def test_a_thread_that_ends_in_an_error_hands_its_turn_on() -> None:
    clock = VirtualClock()
    ended = threading.Event()

    def fails() -> None:
        try:
            clock.sleep(1.0)
        finally:
            ended.set()

    with clock.take_part():
        clock.start_thread(fails, "fails")
        clock.sleep(5.0)
    assert ended.is_set()
    assert clock.now() == 5.0


def test_a_thread_may_join_while_another_sleeps() -> None:
    clock = VirtualClock()
    order: list[str] = []

    def second() -> None:
        with clock.take_part():
            order.append("second")

    with clock.take_part():
        thread = threading.Thread(target=second)
        thread.start()
        clock.sleep(1.0)
        order.append("first")
        while thread.is_alive():
            clock.sleep(1.0)
    thread.join()
    assert sorted(order) == ["first", "second"]


def test_the_same_program_gives_the_same_order_each_time() -> None:
    def trace() -> list[tuple[int, float]]:
        clock = VirtualClock()
        seen: list[tuple[int, float]] = []

        def worker(number: int) -> None:
            for step in range(50):
                clock.sleep(0.1 * (1 + (number + step) % 3))
                seen.append((number, round(clock.now(), 9)))

        with clock.take_part():
            for number in range(4):
                clock.start_thread(lambda number=number: worker(number), str(number))  # type: ignore[misc]
            clock.sleep(100.0)
        return seen

    assert trace() == trace()


def test_real_time_ends_a_sleep_when_its_signal_is_set() -> None:
    clock = RealClock()
    stop = clock.signal()
    stop.set()
    assert clock.sleep(60.0, until=stop) is True


def test_real_time_moves_forward() -> None:
    clock = RealClock()
    first = clock.now()
    clock.sleep(0.001)
    assert clock.now() > first


def test_what_was_sent_has_arrived_before_virtual_time_moves() -> None:
    """`before_jumps` is called at the old time, and only if there is a new one."""
    clock = VirtualClock()
    called_at: list[float] = []
    clock.before_jumps(lambda: called_at.append(clock.now()))
    with clock.take_part():
        clock.sleep(1.0)
        clock.sleep(0.0)
        clock.sleep(2.0)
    assert called_at == [0.0, 1.0]


def test_real_time_ends_the_sleeps_of_all_threads_that_wait_for_one_signal() -> None:
    clock = RealClock()
    stop = clock.signal()
    ended: list[bool] = []
    threads = [threading.Thread(target=lambda: ended.append(clock.sleep(60.0, until=stop))) for _ in range(5)]
    for thread in threads:
        thread.start()
    stop.set()
    for thread in threads:
        thread.join()
    assert ended == [True] * 5


def test_a_signal_handler_may_end_the_sleep_that_it_interrupts() -> None:
    """Each time at another moment; an Event deadlocks within some thousand of these, its lock held by both."""
    timer = getattr(signal, "ITIMER_REAL", None)
    if timer is None:
        pytest.skip("no interval timers here")
    clock = RealClock()
    stop = clock.signal()
    before = signal.signal(signal.SIGALRM, lambda *_: stop.set())
    try:
        for turn in range(3000):
            stop = clock.signal()
            signal.setitimer(timer, (1 + turn % 40) * 1e-6)
            while not clock.sleep(0.0005, until=stop):
                pass
    finally:
        signal.setitimer(timer, 0.0)
        signal.signal(signal.SIGALRM, before)
    assert stop.is_set()
