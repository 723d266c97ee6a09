"""What is set for a record: never shorter than wanted, as fine as it can be, the trigger where it belongs."""

from __future__ import annotations

import pytest

from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.oscilloscope.timing import Ratings, scale_set_v, setup_for
from benchctl.library import find
from tests.runner.rig import document

RATINGS = Ratings(bits=8, memory=1_000_000, sample_rate_hz=1e9)
RECORD = Record(span_s=0.011, pretrigger_s=0.005, samples=5500)


def driver(*lines: str, record: str = "") -> OscilloscopeDriver:
    """The driver of a list preamble, with these keys, and another place of the trigger in `set_record`."""
    text = find("drivers", "oscilloscope/preamble_list").read_text(encoding="utf-8")
    text = text.replace("commands:\n", "".join(f"{line}\n" for line in lines) + "commands:\n", 1)
    return document(
        text.replace("TIM:POS {pretrigger_s:.9g}", record or "TIM:POS {pretrigger_s:.9g}"), "driver", OscilloscopeDriver
    )


def test_without_any_limit_a_record_is_what_is_wanted() -> None:
    setup = setup_for(RECORD, driver(), RATINGS)
    assert (setup.span_s, setup.pretrigger_s, setup.samples, setup.rolls) == (0.011, 0.005, 5500, False)


def test_a_time_base_of_1_2_5_is_the_next_longer_and_as_fine_as_was_wanted() -> None:
    setup = setup_for(RECORD, driver("steps: {seconds_per_division: 1-2-5}"), RATINGS)
    assert setup.span_s == pytest.approx(0.02)
    assert setup.samples / setup.span_s == pytest.approx(5500 / 0.011)


@pytest.mark.parametrize(
    ("memory", "channels", "length", "samples"),
    [
        ("[1200, 12000, 120000]", 1, 12_000, 12_000),
        ("{table: [1200, 12000, 120000], shared: yes}", 2, 12_000, 6000),
        ("{table: [1200, 12000, 120000], shared: yes}", 4, 120_000, 30_000),
        ("[1200]", 1, 1200, 1200),
        ("auto", 1, 5500, 5500),
        ("[1000, 2000000000]", 1, 1000, 1000),
    ],
)
def test_a_length_is_the_next_of_the_table_that_is_no_shorter(
    memory: str, channels: int, length: int, samples: int
) -> None:
    """The last one has no other length that the bench file's million of samples allows."""
    setup = setup_for(RECORD, driver(f"memory: {memory}"), RATINGS, channels)
    assert (setup.length, setup.samples) == (length, samples)


def test_a_length_goes_out_by_the_instruments_own_word() -> None:
    words = driver("memory: {7K: 7000, 70K: 70000}", record="ACQ:MEM {memory};:TIM:POS {pretrigger_s:.9g}")
    assert setup_for(RECORD, words, RATINGS).values(10)["memory"] == "7K"


def test_the_trigger_is_placed_in_whatever_way_the_instrument_counts() -> None:
    """From the record's length of 20 ms, 5 ms before the trigger."""
    values = setup_for(Record(0.02, 0.005, 1000), driver(), RATINGS).values(10)
    assert values["pretrigger_s"] == 0.005
    assert values["pretrigger_percent"] == pytest.approx(25.0)
    assert values["pretrigger_samples"] == 250
    assert values["start_s"] == -0.005
    assert values["center_s"] == pytest.approx(0.005)
    assert values["trigger_from_center_s"] == pytest.approx(-0.005)
    assert values["seconds_per_division"] == pytest.approx(0.002)
    assert values["sample_rate_hz"] == pytest.approx(50_000)


def test_where_the_trigger_always_lies_in_the_middle_a_record_is_long_enough_on_both_sides() -> None:
    """6 ms are wanted after the trigger, so 6 ms come before it too."""
    setup = setup_for(RECORD, driver("pretrigger: 50 %"), RATINGS)
    assert setup.span_s == pytest.approx(0.012)
    assert setup.pretrigger_s == pytest.approx(0.006)


def test_a_record_that_waits_for_no_trigger_holds_a_repetition_more() -> None:
    """From 50 ms a division on: 0.51 s of record, and bursts every 0.5 s."""
    rolling = driver("roll_from: 50 ms")
    long = Record(0.51, 0.005, 51_000, trigger_every_s=0.5)
    assert setup_for(long, rolling, RATINGS).rolls
    assert setup_for(long, rolling, RATINGS).span_s == pytest.approx(1.01)
    assert not setup_for(RECORD, rolling, RATINGS).rolls
    assert not setup_for(long, driver(), RATINGS).rolls


def test_no_more_samples_are_asked_for_than_the_instrument_can_take_in_that_time() -> None:
    slow = Ratings(bits=8, memory=1_000_000, sample_rate_hz=100e3)
    assert setup_for(RECORD, driver(), slow).samples == 1100


def test_a_range_in_steps_is_the_next_wider_within_what_the_instrument_takes() -> None:
    limited = driver("steps: {volts_per_division: 1-2-5}", "limits: {volts_per_division: [2 mV, 10 V]}")
    assert [scale_set_v(each, limited) for each in (0.0016, 0.001, 0.04, 16.0)] == pytest.approx(
        [0.002, 0.002, 0.05, 10.0]
    )
