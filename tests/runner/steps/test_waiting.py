"""cool and settle end when they should, say how much time is left, and do what is asked when it is over."""

from __future__ import annotations

import pytest

from tests.runner.measured import Measured, measured, within_uncertainty

HEAT = "soak: {for: 30 s, level: 40 % rated}"
# An eighth of the heatsink's capacity: it warms and cools eight times as fast.
LIGHT = {"capacity: 900 J/K": "capacity: 112 J/K"}


def lasted_s(run: Measured, kind: str) -> list[float]:
    """How long each step of a kind that was finished took, in their order."""
    began = {event["index"]: event["time_s"] for event in run.events if event["event"] == "step started"}
    ends = [event for event in run.events if event["event"] == "step finished" and f" {kind}" in event["step"]]
    return [event["time_s"] - began[event["index"]] for event in ends]


@pytest.fixture(scope="module")
def cooled(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """One waits for what comes, one is to go on when it has waited for what cannot come, and one is not."""
    cannot_come = "heatsink: below 30 degC"
    return measured(
        tmp_path_factory.mktemp("run"),
        HEAT,
        "cool: {heatsink: below 45 degC}",
        "measure_idle: {for: 1 s}",
        f"cool: {{{cannot_come}, timeout: 1 min, on_timeout: go on}}",
        "measure_noise: {for: 1 s}",
        f"cool: {{{cannot_come}, timeout: 30 s}}",
        "measure_idle: {for: 1 s}",
        amplifier=LIGHT,
    )


def test_cooling_ends_when_the_heatsink_is_cool_enough(cooled: Measured) -> None:
    (at_the_end,) = cooled.figures("heatsink_temperature")[1:]
    assert at_the_end.value == pytest.approx(45.0, abs=0.3)


def test_the_time_left_to_cool_is_foretold(cooled: Measured) -> None:
    """What is told half way is about the other half."""
    told = [text for text in cooled.told if "until below 45 degC" in text]
    half_way = told[len(told) // 2]
    number, unit, *_ = half_way.split("about ")[1].split(" ")
    left_s = float(number) * {"s": 1.0, "min": 60.0}[unit]
    assert left_s == pytest.approx(lasted_s(cooled, "cool")[0] / 2, abs=15.0)


def test_a_heatsink_that_will_not_get_there_is_told(cooled: Measured) -> None:
    """It idles at 39 degC or so: 24 W into 0.55 K/W above 23 degC."""
    told = [text for text in cooled.told if "to be below 30 degC" in text]
    assert "predicted to end at 3" in told[-1]
    assert any("below 30 degC was asked for" in note for note in cooled.notes)


def test_a_run_whose_wait_is_over_ends_unless_it_is_to_go_on(cooled: Measured) -> None:
    assert cooled.figures("output_noise"), "after the wait that was to go on"
    assert "below 30 degC was asked for" in str(cooled.outcome.error)
    assert lasted_s(cooled, "cool")[1:] == [pytest.approx(60.0, abs=1.0)]
    assert len(lasted_s(cooled, "measure_idle")) == 1, "nothing after the wait that was not"


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """One settles by its predicted end, one does not in its time, and one by what it reads, which alone tells the time
    left."""
    return measured(
        tmp_path_factory.mktemp("run"),
        "settle: {predicted_end: within 2 K, timeout: 60 min}",
        "measure_idle: {for: 2 s}",
        "settle: {heatsink: within 0.01 K, per: 10 s, timeout: 20 s, on_timeout: go on}",
        "measure_noise: {for: 1 s}",
        "settle: {heatsink: within 0.5 K, per: 30 s, timeout: 60 min}",
        amplifier=LIGHT,
    )


def test_settle_may_end_as_soon_as_the_end_is_known(settled: Measured) -> None:
    """The idling amplifier warms by 0.55 K/W; its 24 W are known from the supply."""
    final = settled.figure("final_heatsink_temperature")
    assert within_uncertainty(final, 23.0 + 0.55 * settled.figure("idle_power").value)
    assert lasted_s(settled, "settle")[0] < 25 * 60 / 8
    assert settled.verification.agrees


def test_settle_says_how_much_time_is_left(settled: Measured) -> None:
    told = [text for text in settled.told if "left" in text]
    assert "predicted to end at" in told[-1]


def test_what_does_not_settle_ends_as_the_sequence_says(settled: Measured) -> None:
    assert settled.outcome.error is None
    assert "heatsink did not settle within 20 s" in settled.notes
    assert settled.figures("output_noise")
