"""Relays: contacts bounce when they close, the same way for the same seed, and come to rest as commanded."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.hardware.relays import FEWEST_BOUNCES, MOST_BOUNCES, Relays
from benchctl.simulator.model.true_errors import TrueErrors
from tests.simulator.talk import Room

BOUNCE_S = 0.003


def relays(seed: int = 1, bounce_s: float = BOUNCE_S) -> Relays:
    return Relays(bounce_s, TrueErrors(BenchSimulation(seed=seed)))


def moves_of(bank: Relays, relay: int, now_s: float) -> list[float]:
    """Close it; returns the times at which its contact moves until it rests."""
    assert bank.close(relay, now_s)
    found = []
    while bank.next_bounce_s < math.inf:
        found.append(bank.next_bounce_s)
        assert list(bank.bounce(bank.next_bounce_s)) == [relay]
        assert (relay in bank.made) is (len(found) % 2 == 0)
    return found


@pytest.mark.parametrize("seed", range(20))
def test_a_closing_contact_opens_a_few_times_and_rests_closed_within_its_time(seed: int) -> None:
    bank = relays(seed)
    moves_s = moves_of(bank, 101, 7.0)
    assert 2 * FEWEST_BOUNCES <= len(moves_s) <= 2 * MOST_BOUNCES
    assert 7.0 < moves_s[0] <= moves_s[-1] <= 7.0 + BOUNCE_S
    assert bank.made == {101}


def test_every_closing_bounces_its_own_way_and_a_seed_repeats_it() -> None:
    def twice(seed: int) -> list[list[float]]:
        bank = relays(seed)
        first = moves_of(bank, 101, 0.0)
        bank.open(101, 0.0)
        return [first, moves_of(bank, 101, 0.0), moves_of(bank, 102, 0.0)]

    first, second, neighbour = twice(1)
    assert len({tuple(first), tuple(second), tuple(neighbour)}) == 3
    assert twice(1) == [first, second, neighbour]
    assert twice(2) != [first, second, neighbour]


def test_a_contact_that_is_opened_in_the_midst_of_it_stays_open() -> None:
    bank = relays()
    bank.close(101, 0.0)
    bank.close(102, 0.0)
    bank.open(101, 0.0)
    list(bank.bounce(1.0))
    assert bank.made == bank.closed == {102}


def test_a_relay_that_is_closed_already_does_not_bounce_again() -> None:
    bank = relays()
    moves_of(bank, 101, 0.0)
    assert not bank.close(101, 1.0)
    assert bank.next_bounce_s == math.inf


def test_a_stuck_relay_moves_neither_way() -> None:
    bank = relays()
    bank.stuck = frozenset({101})
    assert not bank.close(101, 0.0)
    assert (bank.closed, bank.made, bank.next_bounce_s) == (set(), set(), math.inf)


def test_contacts_can_be_without_bounce() -> None:
    assert moves_of(relays(bounce_s=0.0), 101, 0.0) == []


def test_a_record_in_that_time_shows_it_and_one_after_it_does_not() -> None:
    """Into 2 ohm from 20 mohm a tone loses a hundredth; off and on again that stands out of the converter's noise."""
    room = Room()
    room.power_on()
    room.play(0.5)
    room.wait(1.0)
    room.oscilloscope.tell("CHAN1:SCAL 0.4", "TIM:REF LEFT", "TIM:SCAL 0.001", "ACQ:POIN 20000", "TRIG:SWE NORM")
    room.oscilloscope.tell("TRIG:EDGE:SOUR CHAN1", "TRIG:EDGE:LEV 20", "SING", "TRIG:FORC")
    room.load.tell("ROUT:CLOS (@103)")
    assert room.load.ask("ROUT:CLOS? (@103)") == "1", "its coil has pulled in"
    room.wait(0.1)
    assert room.oscilloscope.ask("ACQ:COMP?") == "1"
    volts = room.volts(1).reshape(10, 2000)  # one row for each cycle
    apart = np.abs(volts - volts[-1])
    noise_v = apart[5:9].max()
    assert apart[:3].max() > 1.5 * noise_v
    assert apart[3:5].max() == pytest.approx(noise_v, rel=0.5)


def test_a_contact_moves_only_some_time_after_its_command_where_the_bench_says_so() -> None:
    bank = Relays(0.0, TrueErrors(BenchSimulation(seed=1)), operate_s=0.05)
    assert not bank.close(101, 1.0)
    assert (bank.closed, bank.made, bank.next_bounce_s) == ({101}, set(), pytest.approx(1.05))
    assert list(bank.bounce(1.06)) == [101]
    assert bank.made == {101}
    assert not bank.open(101, 2.0)
    assert (bank.closed, bank.made) == (set(), {101})
    assert list(bank.bounce(2.06)) == [101]
    assert (bank.made, bank.next_bounce_s) == (set(), math.inf)


def test_a_command_that_is_taken_back_in_that_time_moves_nothing() -> None:
    bank = Relays(0.0, TrueErrors(BenchSimulation(seed=1)), operate_s=0.05)
    bank.close(101, 1.0)
    bank.open(101, 1.02)
    assert list(bank.bounce(2.0)) == []
    bank.close(101, 3.0)
    list(bank.bounce(3.1))
    bank.open(101, 4.0)
    bank.close(101, 4.02)
    assert list(bank.bounce(5.0)) == []
    assert bank.made == bank.closed == {101}
