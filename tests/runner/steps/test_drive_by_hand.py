"""A person drives the amplifier with keys: what the keys do, and what happens when nobody presses any."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from benchctl.clock import VirtualClock
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import DriveByHand
from benchctl.errors import LimitTripped
from benchctl.runner.acting.desk import Readings, Wish, WishKind
from tests.runner.rig import AT_4_OHM, Rig, files, rig

BY_HAND = DriveByHand(voltage_v=14.4, current_limit_a=90.0)
GAIN = 36.0  # of the amplifier's plate


@dataclass
class Script:
    """A desk whose keys are pressed at times, counted in seconds from the first call."""

    clock: VirtualClock
    keys: list[tuple[float, Wish]]
    shown: list[tuple[float, Readings]] = field(default_factory=list)
    began_s: float | None = None

    def wishes(self) -> Sequence[Wish]:
        if self.began_s is None:
            self.began_s = self.clock.now()
        due = [wish for at_s, wish in self.keys if at_s <= self.since_s]
        self.keys = self.keys[len(due) :]
        return due

    def show(self, readings: Readings) -> None:
        self.shown.append((self.since_s, readings))

    @property
    def since_s(self) -> float:
        return self.clock.now() - (self.began_s or 0.0)

    def at(self, time_s: float) -> Readings:
        """What was shown last by then."""
        return [readings for at_s, readings in self.shown if at_s <= time_s][-1]


def press(
    bench: Rig, *keys: tuple[float, WishKind] | tuple[float, WishKind, str], step: DriveByHand = BY_HAND
) -> Script:
    """Drive by hand with these keys."""
    wishes = [(at_s, Wish(kind, *text)) for at_s, kind, *text in keys]
    script = Script(bench.clock, wishes)
    bench.run.desk = script
    bench.do(step)
    return script


def test_nothing_is_switched_on_before_a_key_asks_for_it(bench: Rig) -> None:
    press(bench, (5.0, "end"))
    assert not any("OUTP ON" in text or "OUTP:STAT ON" in text for _, text in bench.commands())
    assert bench.run.conditions.supply_set_v is None


def test_a_signal_starts_30_db_below_the_highest_level(bench: Rig) -> None:
    """An eighth of 150 W into 4 ohm is 8.66 V at the output: P = V^2 / R."""
    script = press(bench, (0.0, "switch"), (4.0, "drive"), (7.0, "end"))
    highest_v = math.sqrt(150.0 / 8.0 * 4.0) / bench.run.files.amplifier.gain_ratio
    assert script.at(6.9).is_driven
    assert bench.run.conditions.level_v == pytest.approx(highest_v * 10 ** (-30 / 20), rel=1e-3)


def test_what_is_shown_is_what_the_output_gives(bench: Rig) -> None:
    script = press(bench, (0.0, "switch"), (4.0, "drive"), (5.0, "much louder"), (8.0, "end"))
    level_v = bench.run.conditions.level_v
    assert level_v is not None
    output = script.at(7.9).outputs["A"]
    expected_v = level_v * bench.run.files.amplifier.gain_ratio
    assert output.rms_v == pytest.approx(expected_v, rel=0.03)  # the oscilloscope, and the true gain
    assert output.power_w == pytest.approx(expected_v**2 / 4.0, rel=0.06)


def test_no_key_sets_more_than_the_highest_level(bench: Rig) -> None:
    louder: list[tuple[float, WishKind]] = [(5.0 + 0.1 * n, "much louder") for n in range(8)]
    press(bench, (0.0, "switch"), (4.0, "drive"), *louder, (7.0, "end"))
    highest_v = math.sqrt(150.0 / 8.0 * 4.0) / bench.run.files.amplifier.gain_ratio
    assert bench.run.conditions.level_v == pytest.approx(highest_v, rel=1e-3)
    assert "12.5 % rated is the highest level that this run allows" in bench.audience.notes


def test_the_signal_goes_off_when_no_key_is_pressed_for_so_long(bench: Rig) -> None:
    step = BY_HAND.model_copy(update={"key_every_s": 2.0})
    script = press(bench, (0.0, "switch"), (4.0, "drive"), (8.0, "end"), step=step)
    assert script.at(5.5).is_driven
    assert not script.at(7.5).is_driven
    assert "no key for 2 s, so the signal is off" in bench.audience.notes


def test_any_key_keeps_the_signal_on(bench: Rig) -> None:
    step = BY_HAND.model_copy(update={"key_every_s": 2.0})
    keys: list[tuple[float, WishKind]] = [(4.0 + 1.2 * n, "present") for n in range(1, 4)]
    script = press(bench, (0.0, "switch"), (4.0, "drive"), *keys, (9.0, "end"), step=step)
    assert script.at(8.9).is_driven


def test_another_load_is_connected_without_a_signal_and_the_next_signal_is_within_its_limit(bench: Rig) -> None:
    script = press(bench, (0.0, "switch"), (4.0, "drive"), (6.0, "load"), (8.0, "drive"), (11.0, "end"))
    assert not script.at(7.5).is_driven
    assert script.at(10.9).wanted.load_ohm == 2.0
    sent = [text for role, text in bench.commands() if role in ("generator", "load")]
    closing = max(index for index, text in enumerate(sent) if text.startswith("ROUT:CLOS"))
    assert "OUTP OFF" in sent[:closing]
    assert sent[:closing][::-1].index("OUTP OFF") < sent[:closing][::-1].index("OUTP ON")


def test_the_frequency_goes_up_and_down_through_the_list_and_stops_at_its_ends(bench: Rig) -> None:
    keys: list[tuple[float, WishKind]] = [(1.0 + n, "higher") for n in range(6)]
    press(bench, *keys, (9.0, "end"))
    assert bench.run.conditions.frequency_hz == 20e3


def test_a_kept_record_has_figures_in_the_journal_with_its_conditions(bench: Rig) -> None:
    press(bench, (0.0, "switch"), (4.0, "drive"), (6.0, "keep"), (8.0, "end"))
    power = bench.figures("continuous_power")["A"]
    assert power.capture.startswith("captures/")
    (entry,) = [event for event in bench.events("figures") if event["analysis"] == "continuous"]
    assert entry["conditions"]["drive"] == "set"
    assert bench.figures("thd_n")["A"].capture == power.capture


def test_a_record_of_the_quiet_amplifier_gives_its_idle_figures(bench: Rig) -> None:
    press(bench, (0.0, "switch"), (4.0, "keep"), (6.0, "end"))
    assert set(bench.figures("dc_offset")) == {"A", "B"}


def test_bursts_take_the_place_of_the_tone(bench: Rig) -> None:
    script = press(bench, (0.0, "switch"), (4.0, "drive"), (6.0, "bursts"), (9.0, "end"))
    assert script.at(8.9).bursts == "bursts of 20 cycles every 500 ms"
    level_v = bench.run.conditions.level_v
    assert level_v is not None
    peak_v = level_v * bench.run.files.amplifier.gain_ratio * math.sqrt(2.0)
    assert script.at(8.9).outputs["A"].peak_v == pytest.approx(peak_v, rel=0.05)


def test_bursts_longer_than_their_period_are_refused_in_words(bench: Rig) -> None:
    lower: list[tuple[float, WishKind]] = [(0.5 * n, "lower") for n in range(1, 7)]
    step = BY_HAND.model_copy(update={"every_s": 0.1})
    press(bench, *lower, (5.0, "bursts"), (6.0, "end"), step=step)
    assert any("100 ms" in note for note in bench.audience.notes)
    assert not bench.run.conditions.bursts


def test_channels_are_driven_together_and_then_each_alone(bench: Rig) -> None:
    script = press(bench, (0.0, "switch"), (4.0, "channel"), (5.0, "drive"), (7.0, "channel"), (9.0, "end"))
    assert script.at(6.9).wanted.driven == ("A",)
    assert bench.run.fed == ("B",)


def test_held_readings_stay_as_they_are(bench: Rig) -> None:
    script = press(bench, (0.0, "switch"), (4.0, "drive"), (6.0, "hold"), (7.0, "much louder"), (9.0, "end"))
    assert script.at(8.9).is_held
    assert script.at(8.9).outputs == script.at(6.5).outputs


def test_a_note_goes_into_the_journal(bench: Rig) -> None:
    press(bench, (1.0, "note", "the left relay chatters"), (2.0, "end"))
    assert "the left relay chatters" in [event["text"] for event in bench.events("note")]


def test_the_amplifier_is_switched_off_again_and_without_a_signal(bench: Rig) -> None:
    script = press(bench, (0.0, "switch"), (4.0, "drive"), (6.0, "switch"), (10.0, "end"))
    assert not script.at(9.9).is_on
    assert bench.run.conditions.supply_set_v is None


def test_a_signal_into_an_amplifier_that_is_off_is_refused_in_words(bench: Rig) -> None:
    press(bench, (1.0, "drive"), (2.0, "end"))
    assert "the amplifier is off; switch it on first" in bench.audience.notes


def test_a_trip_ends_the_step_and_makes_the_bench_safe(tmp_path: Path) -> None:
    these = files("power_off", limits={"supply_current": "{above: 2.5 A}"})
    with rig(tmp_path, these) as bench:
        bench.begin()
        louder: list[tuple[float, WishKind]] = [(5.0 + n, "much louder") for n in range(6)]
        step = BY_HAND.model_copy(update={"highest": Level(1.0, "rated")})
        with pytest.raises(LimitTripped):
            press(bench, (0.0, "switch"), (4.0, "drive"), *louder, (54.0, "end"), step=step)


def test_the_step_ends_after_its_longest_time(bench: Rig) -> None:
    step = BY_HAND.model_copy(update={"at_most_s": 5.0})
    press(bench, step=step)
    assert bench.clock.now() == pytest.approx(5.0, abs=1.0)


def test_without_a_person_the_step_ends_at_once_and_says_so(bench: Rig) -> None:
    before_s = bench.clock.now()
    bench.do(AT_4_OHM, BY_HAND)
    assert bench.clock.now() - before_s < 1.0
    assert any("a person would drive the amplifier by hand" in note for note in bench.audience.notes)
