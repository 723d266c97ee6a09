"""A sequence file: what to do, step by step, with limits."""

from __future__ import annotations

import pytest

from benchctl.documents.reader import load_amplifier, load_sequence
from benchctl.documents.sequence_file.power_steps import MeasureBurst
from benchctl.documents.sequence_file.sequence import Sequence, expanded_count
from benchctl.documents.sequence_file.steps import Sweep
from tests.documents.conftest import ProblemsOf

HEAD = "benchctl: sequence 1\ntitle: t\n"
ON = "  - power_on: {voltage: 14.4 V, current_limit: 90 A}\n"


def test_the_shipped_power_test_says_what_it_says() -> None:
    sequence = load_sequence("burst_and_continuous", load_amplifier("hx2150"))
    assert [step.kind for step in sequence.steps] == ["power_on", "measure_idle", "sweep", "power_off"]
    sweep = sequence.steps[2]
    assert isinstance(sweep, Sweep)
    assert sweep.axes == {"load": (4.0, 2.0), "frequency": (1000.0,)}
    burst = sweep.steps[1]
    assert isinstance(burst, MeasureBurst)
    assert burst.cycles == (1, 8, 20)
    assert (burst.every_s, burst.thd_n) == (0.5, 0.01)
    assert burst.low_level_ratio == pytest.approx(0.1)
    assert sequence.limits.supply_current is not None
    assert sequence.limits.supply_current.above == 80.0  # the fuse of the HX 2150
    assert sequence.limits.supply_current.for_s == 10.0


def test_a_sequence_needs_a_title_and_steps(problems_of: ProblemsOf) -> None:
    assert problems_of("benchctl: sequence 1\npurpose: p\n") == [
        "1:1: 'title' is missing here",
        "1:1: 'steps' is missing here",
    ]
    assert problems_of(HEAD + "steps: []\n") == ["3:8: 'steps' has too few entries: at least 1 needed"]


@pytest.mark.parametrize(
    ("steps", "fault"),
    [
        ("  - measure_idle\n", "4:5: 'measure_idle' comes while the amplifier is off; give 'power_on' first"),
        (ON + ON, "5:5: the amplifier is on already; give 'power_off' first"),
        (
            ON + "  - power_off\n  - find_clean_level\n",
            "6:5: 'find_clean_level' comes while the amplifier is off; give 'power_on' first",
        ),
        (
            "  - sweep: {load: [4 ohm]}\n    steps:\n      - measure_continuous\n",
            "6:9: 'measure_continuous' comes while the amplifier is off; give 'power_on' first",
        ),
    ],
)
def test_steps_in_an_order_that_cannot_work_are_refused(steps: str, fault: str, problems_of: ProblemsOf) -> None:
    assert problems_of(HEAD + "steps:\n" + steps) == [fault]


WHEN = "  - when: {idle_current: below 3 A}\n    steps:\n"


@pytest.mark.parametrize(
    ("steps", "fault"),
    [
        (
            ON + "  - measure_idle\n" + WHEN + "      - measure_idle\n      - power_off\n",
            "9:9: where the condition does not hold, the amplifier stays on; put 'power_off' behind the 'when'",
        ),
        (
            ON + "  - measure_idle\n  - power_off\n" + WHEN + f"    {ON}      - measure_idle\n",
            "9:9: where the condition does not hold, the amplifier stays off; put 'power_on' before the 'when'",
        ),
    ],
)
def test_what_figures_decide_on_leaves_the_amplifier_on_or_off_as_it_was(
    steps: str, fault: str, problems_of: ProblemsOf
) -> None:
    assert problems_of(HEAD + "steps:\n" + steps) == [fault]


@pytest.mark.parametrize("inside", [f"    {ON}      - measure_idle\n      - power_off\n", "      - hold: {for: 1 s}\n"])
def test_what_figures_decide_on_may_switch_on_and_off_again(inside: str, problems_of: ProblemsOf) -> None:
    before = ON + "  - measure_idle\n  - power_off\n"
    assert problems_of(HEAD + "steps:\n" + before + WHEN + inside) == []


@pytest.mark.parametrize(
    ("step", "fault"),
    [
        ("hold: {for: 1e308 s}", "4:17: '1e308 s' is out of range; it must be at most 168 h"),
        ("hold: {for: 169 h}", "4:17: '169 h' is out of range; it must be at most 168 h"),
        ("cool: {heatsink: below 45 degC, timeout: 1e9 s}", "4:46: '1e9 s' is out of range; it must be at most 168 h"),
    ],
)
def test_no_step_takes_longer_than_a_week(step: str, fault: str, problems_of: ProblemsOf) -> None:
    assert problems_of(HEAD + f"steps:\n  - {step}\n") == [fault]


def test_a_sweep_may_switch_on_and_off_by_itself(problems_of: ProblemsOf) -> None:
    inner = f"    {ON}      - measure_idle\n      - power_off\n"
    assert problems_of(HEAD + "steps:\n  - sweep: {load: [4 ohm, 2 ohm]}\n    steps:\n" + inner) == []


def test_sweeps_in_sweeps_multiply(document_of: object) -> None:
    assert callable(document_of)
    sequence = document_of(
        HEAD
        + "steps:\n  - sweep: {load: [4 ohm, 2 ohm]}\n    steps:\n      - hold: {for: 1 s}\n"
        + "      - sweep: {frequency: [1 kHz, 2 kHz, 3 kHz]}\n        steps: [{hold: {for: 1 s}}]\n"
    )
    assert isinstance(sequence, Sequence)
    assert expanded_count(sequence.steps) == 2 * (1 + 3)


def test_a_sweep_that_would_take_weeks_is_refused(problems_of: ProblemsOf) -> None:
    levels = ", ".join(f"{level} mV" for level in range(1, 151))
    inner = "{hold: {for: 1 s}}"
    text = (
        f"steps:\n  - sweep: {{level: [{levels}], frequency: [{levels.replace('mV', 'Hz')}]}}\n    steps: [{inner}]\n"
    )
    assert problems_of(HEAD + text) == [
        "4:3: this makes 22500 steps, whose `for` alone make 6:15 h; at most 10000 steps can be run; "
        "give fewer values, or fewer turns"
    ]


def test_a_million_turns_are_told_with_their_time_and_not_written_out(problems_of: ProblemsOf) -> None:
    """10^6 s are 11.6 days."""
    text = (
        "steps:\n  - repeat: {times: 1000}\n    steps:\n      - repeat: {times: 1000}\n"
        "        steps: [{hold: {for: 1 s}}]\n"
    )
    (told,) = problems_of(HEAD + text)
    assert "this makes 1000000 steps, whose `for` alone make 12 days" in told


def test_a_ramp_in_tiny_steps_is_told_with_its_number_and_time(problems_of: ProblemsOf) -> None:
    """12.4 V in steps of 10 nV, 4 s each."""
    ramp = "ramp_supply: {voltage: 14.4 V, current_limit: 3 A, step: 10 nV}"
    (told,) = problems_of(HEAD + f"steps:\n  - {ramp}\n  - power_off\n")
    assert "the voltage would rise 1240000000 times and take 57407 days" in told
    assert told.endswith("give a larger 'step'")


@pytest.mark.parametrize(
    "step",
    [
        "set: {frequency: %s}",
        "measure_response: {from: 20 Hz, to: %s}",
        "measure_filter: {from: 20 Hz, to: %s}",
        "sweep: {frequency: [%s]}\n    steps: [measure_idle]",
    ],
)
def test_a_frequency_that_no_audio_amplifier_is_made_for_is_refused(step: str, problems_of: ProblemsOf) -> None:
    text = HEAD + f"steps:\n  - power_on: {{voltage: 14.4 V, current_limit: 9 A}}\n  - {step}\n  - power_off\n"
    assert problems_of(text % "200 kHz") == []
    (told,) = problems_of(text % "1 MHz")
    assert told.endswith("'1 MHz' is out of range; it must be at most 200 kHz")


def _with_idle(first: str, second: str) -> str:
    lines = ["power_on: {voltage: 14.4 V, current_limit: 9 A}", first, second, "power_off"]
    return HEAD + "steps:\n" + "".join(f"  - {line}\n" for line in lines)


def test_a_criterion_may_be_told_from_the_figure_of_an_earlier_step(problems_of: ProblemsOf) -> None:
    expect = "measure_idle: {expect: {idle_current: within 5 % of cold_idle, dc_offset: within 5 mV of cold_idle}}"
    assert problems_of(_with_idle("measure_idle: {name: cold_idle}", expect)) == []


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [
        (
            "measure_idle",
            "measure_idle: {expect: {idle_current: within 5 % of cold_idle}}",
            "no step before this one has the name 'cold_idle'; give it one",
        ),
        (
            "measure_idle: {name: cold}",
            "require: {idle_current: below 110 % of warm}",
            "no step before this one has the name 'warm'; give it one",
        ),
        ("measure_idle: {name: cold}", "measure_dc: {name: cold}", "an earlier step has the name 'cold' already"),
        (
            "measure_idle: {name: cold}",
            "measure_idle: {expect: {idle_current: below 2 A of cold}}",
            "below or above an earlier figure is told in %, such as 'below 110 % of cold'",
        ),
        (
            "measure_idle: {name: cold}",
            "measure_idle: {expect: {idle_current: within 5 % of Cold idle}}",
            "'Cold idle' is no name of a step; write for example 'within 5 % of cold_idle'",
        ),
    ],
)
def test_a_criterion_told_from_nothing_is_refused(first: str, second: str, says: str, problems_of: ProblemsOf) -> None:
    (told,) = problems_of(_with_idle(first, second))
    assert told.endswith(says)
