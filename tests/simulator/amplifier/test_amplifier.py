"""What wakes the amplifier, what mutes it, and when it plays again."""

from __future__ import annotations

import pytest

from benchctl.documents.amplifier_file.simulation import ProtectionSimulation
from benchctl.simulator.amplifier.amplifier import Amplifier, Sight, State


def amplifier(state: State = State.ASLEEP) -> Amplifier:
    """Protection at 95/75 degC and 9.5 V, 1.5 s turn-on delay."""
    return Amplifier(ProtectionSimulation(), turn_on_delay_s=1.5, soft_start_s=0.1, remote_threshold_v=6.0, state=state)


def states(unit: Amplifier, *looks: tuple[float, float, float, float]) -> list[State]:
    """Its state after each look (time, remote, terminals, heatsink)."""
    seen = []
    for look in looks:
        unit.look(look[0], Sight(*look[1:]))
        seen.append(unit.state)
    return seen


def test_it_sleeps_until_its_remote_lead_is_live_then_is_muted_for_its_delay() -> None:
    unit = amplifier()
    seen = states(unit, (1.0, 0.0, 14.4, 25), (2.0, 12.0, 14.4, 25), (3.4, 12.0, 14.4, 25), (3.5, 12.0, 14.4, 25))
    assert seen == [State.ASLEEP, State.WAKING, State.WAKING, State.PLAYING]


@pytest.mark.parametrize("state", list(State))
def test_a_dead_remote_lead_puts_it_to_sleep_from_every_state(state: State) -> None:
    unit = amplifier(state)
    assert states(unit, (1.0, 0.0, 14.4, 120.0)) == [State.ASLEEP]


def test_heat_silences_it_at_one_temperature_and_releases_it_at_a_lower_one() -> None:
    unit = amplifier(State.PLAYING)
    seen = states(unit, *((float(t), 12.0, 14.4, c) for t, c in enumerate((94.9, 95.1, 80.0, 75.1, 74.9))))
    assert seen == [State.PLAYING, State.HOT, State.HOT, State.HOT, State.WAKING]


def test_a_dip_of_the_supply_shorter_than_the_delay_is_borne() -> None:
    unit = amplifier(State.PLAYING)
    assert states(unit, (1.0, 12.0, 9.0, 25), (1.05, 12.0, 9.6, 25), (1.2, 12.0, 9.0, 25))[-1] is State.PLAYING


def test_a_lasting_low_voltage_shuts_it_down_until_the_supply_is_well_again() -> None:
    unit = amplifier(State.PLAYING)
    looks = [(1.0, 9.4), (1.1, 9.4), (1.2, 9.6), (1.3, 9.9), (1.4, 10.1)]
    seen = states(unit, *((t, 12.0, v, 25.0) for t, v in looks))
    assert seen == [State.PLAYING, State.STARVED, State.STARVED, State.STARVED, State.WAKING]


def test_the_converter_ramps_up_while_waking() -> None:
    unit = amplifier()
    unit.look(2.0, Sight(12.0, 14.4, 25.0))
    assert [unit.ramp(t).part for t in (2.0, 2.05, 2.1, 3.0)] == pytest.approx([0.0, 0.5, 1.0, 1.0])
    assert [unit.ramp(t).per_s for t in (2.0, 2.05, 2.11, 3.0)] == pytest.approx([10.0, 10.0, 0.0, 0.0])


def test_it_says_when_it_must_be_looked_at_again() -> None:
    unit = amplifier()
    unit.look(2.0, Sight(12.0, 14.4, 25.0))
    assert unit.next_change_s(2.0) == pytest.approx(2.1)  # the converter is up
    assert unit.next_change_s(2.5) == pytest.approx(3.5)


def seen(output_a: float = 0.0, dc_v: float = 0.0, heatsink_c: float = 25.0) -> Sight:
    """Well supplied and awake."""
    return Sight(12.0, 14.4, heatsink_c, output_a, dc_v)


def protected(**parts: float) -> Amplifier:
    """Playing, with these protections."""
    return Amplifier(ProtectionSimulation(**parts), 1.5, 0.1, 6.0, state=State.PLAYING)


def test_too_much_output_current_mutes_it_for_its_rest() -> None:
    unit = protected(output_current_a=40.0, retry_s=2.0)
    states_seen = []
    for at_s, output_a in ((1.0, 39.9), (1.1, 40.1), (3.0, 0.0), (3.1, 0.0)):
        unit.look(at_s, seen(output_a))
        states_seen.append(unit.state)
    assert states_seen == [State.PLAYING, State.SHORTED, State.SHORTED, State.WAKING]


def test_a_rail_that_is_too_high_mutes_it_until_it_has_rested_and_both_rails_are_well_below() -> None:
    unit = protected(rail_v=48.0, retry_s=2.0)
    states_seen = []
    for at_s, rail_v in ((1.0, 47.9), (1.1, 48.1), (3.0, 45.0), (3.2, 45.7), (9.0, 45.5)):
        unit.look(at_s, seen()._replace(rail_v=rail_v))
        states_seen.append(unit.state)
    assert states_seen == [State.PLAYING, State.PUMPED, State.PUMPED, State.PUMPED, State.WAKING]


@pytest.mark.parametrize("sign", [1, -1])
def test_dc_must_last_before_it_mutes_and_then_does_so_for_good(sign: int) -> None:
    unit = protected(output_dc_v=3.0)
    states_seen = []
    for at_s, dc_v in ((1.0, 4.0), (1.2, 2.0), (1.3, 4.0), (1.5, 4.0), (1.6, 4.0), (9.0, 0.0)):
        unit.look(at_s, seen(dc_v=sign * dc_v))
        states_seen.append(unit.state)
    assert states_seen == [State.PLAYING] * 4 + [State.OFFSET] * 2


def test_gain_folds_back_evenly_between_its_two_temperatures() -> None:
    unit = protected(fold_back_c=75.0, fold_back_to=0.5, temperature_c=95.0)
    assert [unit.gain_left(c) for c in (20.0, 75.0, 85.0, 95.0, 99.0)] == pytest.approx([1.0, 1.0, 0.75, 0.5, 0.5])


def test_starved_it_rests_before_it_tries_again() -> None:
    """A supply in its current limit recovers at once without the load; without a rest it would switch on and off all
    the time."""
    unit = amplifier(State.PLAYING)
    looks = [(1.0, 9.0), (1.1, 9.0), (1.2, 14.4), (1.4, 14.4)]
    seen_states = states(unit, *((t, 12.0, v, 25.0) for t, v in looks))
    assert seen_states == [State.PLAYING, State.STARVED, State.STARVED, State.WAKING]
