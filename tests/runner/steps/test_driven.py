"""Which inputs are driven: all, each alone in turn, or some; and each channel then has its own level and figure."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.errors import DocumentError
from benchctl.measure.budget.figure import Figure
from tests.runner.measured import LOADED, Measured, hazards_of, measured
from tests.runner.rig import POWER_ON_LINE, files, plugs_as_asked, with_inputs
from tests.runner.steps.test_at_least import EIGHT_BITS, QUIETER_B

FIND_EACH = "find_clean_level: {thd_n: 1 %, from: 300 mV, to: 2 V, driven: each}"
CONTINUOUS_EACH = "measure_continuous: {for: 1 s, driven: each, expect: {continuous_power: above 130 W}}"
FIND = "find_clean_level: {thd_n: 1 %, from: 300 mV, to: 2 V}"
CONTINUOUS = "measure_continuous: {for: 1 s}"


@pytest.fixture(scope="module")
def each(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """Each channel alone in turn, then both; B has 1.5 dB less gain, and is as good as A."""
    folder = tmp_path_factory.mktemp("each")
    steps = (FIND_EACH, CONTINUOUS_EACH, FIND, CONTINUOUS)
    return measured(folder, *steps, bench=EIGHT_BITS, amplifier=QUIETER_B)


def alone(run: Measured, channel: str) -> Figure:
    """The power of a channel that was driven alone."""
    rows = run.table[(run.table["figure"] == "continuous_power") & (run.table["channel"] == channel)]
    (index,) = [number for number, driven in enumerate(rows["driven"]) if driven == channel]
    return [figure for figure in run.figures("continuous_power") if figure.channel == channel][index]


def levels_v(run: Measured) -> dict[str, float]:
    """Driven channels -> the clean level."""
    return {" ".join(event["driven"]): event["level_v"] for event in run.events if event["event"] == "clean level"}


def test_each_channel_driven_alone_has_its_own_level(each: Measured) -> None:
    levels = levels_v(each)
    assert list(levels) == ["A", "B", "A B"]
    # 1.5 dB less gain needs 1.5 dB more level for the same output.
    assert levels["B"] / levels["A"] == pytest.approx(10 ** (1.5 / 20), rel=0.02)


def test_each_channel_driven_alone_has_a_value_and_a_good_one_passes(each: Measured) -> None:
    for channel in "AB":
        figure = alone(each, channel)
        assert (figure.bound, figure.verdict) == ("", "passes")
    assert alone(each, "B").value == pytest.approx(alone(each, "A").value, rel=0.08)


def test_one_channel_alone_gives_more_than_all_driven(each: Measured) -> None:
    """The rails sag less under one."""
    all_driven = next(f for f in reversed(each.figures("continuous_power")) if f.channel == "A")
    assert alone(each, "A").value > 1.05 * all_driven.value


def test_the_table_says_which_channels_were_driven_and_the_run_verifies(each: Measured) -> None:
    rows = each.table[each.table["figure"] == "continuous_power"]
    assert list(rows["driven"]) == ["A", "A", "B", "B", "A B", "A B", "A B"]
    assert list(rows["channel"]) == ["A", "total", "B", "total", "A", "B", "total"]
    assert each.verification.agrees
    assert each.outcome.is_safe


def test_the_rating_of_all_channels_is_no_verdict_on_one_alone(tmp_path: Path) -> None:
    run = measured(tmp_path, "set: {driven: [B]}", FIND, CONTINUOUS)
    assert [(figure.channel, figure.verdict) for figure in run.figures("continuous_power")] == [
        ("B", ""),
        ("total", ""),
    ]


def test_set_each_makes_the_steps_after_it_measure_each(tmp_path: Path) -> None:
    run = measured(tmp_path, "set: {driven: each}", FIND, CONTINUOUS, "set: {driven: all}")
    assert [figure.channel for figure in run.figures("continuous_power")] == ["A", "total", "B", "total"]


def test_an_undriven_input_is_terminated_by_its_relay(each: Measured) -> None:
    switched = [text for role, text in each.sent if role == "load" and ("111" in text or "112" in text)]
    assert [text for text in switched if text.startswith("ROUT:OPEN")][:2] == ["ROUT:OPEN (@112)", "ROUT:OPEN (@111)"]


def test_a_step_that_says_nothing_drives_what_was_set(tmp_path: Path) -> None:
    run = measured(tmp_path, "set: {driven: [A]}", "measure_response: {from: 500 Hz, to: 2 kHz, per_octave: 1}")
    assert {figure.channel for figure in run.figures("gain")} == {"A"}
    assert run.outcome.exit_code == 0


def test_preflight_says_what_a_bench_needs_to_leave_an_input_undriven() -> None:
    (hazard,) = {text.split(": ", 1)[1] for text in hazards_of(FIND_EACH, bench=with_inputs(""))}
    assert "the generator feeds all inputs together" in hazard


def test_preflight_names_a_channel_that_the_amplifier_has_not_got() -> None:
    (hazard,) = hazards_of("find_clean_level: {driven: [C]}")
    assert "the amplifier has no channel C to be driven; it has A and B" in hazard


def test_a_clean_level_of_one_channel_alone_is_none_for_all() -> None:
    (hazard,) = hazards_of("find_clean_level: {driven: [A]}", CONTINUOUS)
    assert "no find_clean_level comes before it" in hazard


def test_a_person_is_asked_to_move_the_plugs(tmp_path: Path) -> None:
    by = {"bench": with_inputs("{by: hand}"), "disturb": plugs_as_asked}
    run = measured(tmp_path, "find_clean_level: {driven: [B]}", FIND, **by)  # type: ignore[arg-type]
    assert run.requests == (
        "Put the generator into input B alone and a shorting plug into A",
        "Put the generator into every input again",
    )


def test_the_driven_channels_are_read_as_all_each_or_a_list() -> None:
    with pytest.raises(DocumentError, match="write `all`, `each`, or a list of channels"):
        files(POWER_ON_LINE, LOADED, "find_clean_level: {driven: some}")
