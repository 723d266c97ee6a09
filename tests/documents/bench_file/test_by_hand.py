"""What a bench file says of what a person does, and of what nothing watches; and what it is refused for."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.sight import reads_heatsink, seen_outputs, unseen_outputs, views
from benchctl.documents.reader import load_amplifier
from tests.documents.conftest import ProblemsOf
from tests.runner.ordinary import LOADS_BY_HAND, NO_THERMOMETER, ONE_PROBE, ONLY_A
from tests.runner.rig import Edits, amplifier_file, bench_file, shipped


def text_with(edits: Edits, more: str = "") -> str:
    return shipped("benches", "workshop", edits) + more


def test_outputs_share_an_oscilloscope_channel_only_where_a_probe_is_moved(problems_of: ProblemsOf) -> None:
    shared = {"    B: {oscilloscope: 2,": "    B: {oscilloscope: 1,"}
    (problem,) = problems_of(text_with(shared))
    assert "channel 1 carries output A already; if one probe serves both, say 'probes: {by: hand}'" in problem
    assert bench_file(ONE_PROBE).probes is not None


def test_no_other_signal_shares_a_channel_with_the_moved_probe(problems_of: ProblemsOf) -> None:
    (problem,) = problems_of(
        text_with({**ONE_PROBE, "supply_current: {oscilloscope: 3": "supply_current: {oscilloscope: 1"})
    )
    assert "channel 1 carries output A already" in problem


def test_one_load_is_enough(problems_of: ProblemsOf) -> None:
    by_hand = LOADS_BY_HAND["inputs: {by: relay, relays: {A: 111, B: 112}}"]
    (problem,) = problems_of(text_with({"inputs: {by: relay, relays: {A: 111, B: 112}}": by_hand}))
    assert "an instrument switches the load already" in problem


def test_what_is_connected_to_begin_with_must_be_there(problems_of: ProblemsOf) -> None:
    text = text_with(LOADS_BY_HAND).replace("  by: hand\n", "  by: hand\n  connected: 3 ohm\n")
    (problem,) = problems_of(text)
    assert "no resistor has 3 ohm; there are 2 ohm and 4 ohm" in problem


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("[heatsink]", "the thermometer reads it on channel 101"),
        ("[output A]", "it has a probe under 'signals'"),
        ("[output C, output C]", "is in the list twice"),
        ("[supply]", "'heatsink', 'ambient', 'load' or an output such as 'output B' is wanted"),
    ],
)
def test_what_is_watched_cannot_be_called_unwatched(said: str, words: str, problems_of: ProblemsOf) -> None:
    (problem,) = problems_of(text_with({"limits:  ": f"unwatched: {said}\nlimits:  "}))
    assert words in problem


def test_an_amplifier_file_may_say_that_its_heatsink_is_out_of_reach() -> None:
    sealed = amplifier_file({"idle_current: 1.6 A": "idle_current: 1.6 A\nunwatched: [heatsink]"})
    assert reads_heatsink(bench_file(), amplifier_file())
    assert not reads_heatsink(bench_file(), sealed)
    assert not reads_heatsink(bench_file(NO_THERMOMETER), amplifier_file())


def test_outputs_that_share_a_channel_are_seen_one_after_the_other() -> None:
    assert views(bench_file(), amplifier_file()) == (("A", "B"),)
    assert views(bench_file(ONE_PROBE), amplifier_file()) == (("A",), ("B",))
    assert seen_outputs(bench_file(ONE_PROBE), amplifier_file()) == ("A", "B")


def test_an_output_without_a_probe_is_not_seen() -> None:
    assert views(bench_file(ONLY_A), amplifier_file()) == (("A",),)
    assert unseen_outputs(bench_file(ONLY_A), amplifier_file()) == ("B",)


def test_an_amplifier_without_a_turn_on_lead_has_nothing_that_feeds_it() -> None:
    bench = bench_file()
    assert bench.turn_on_lead_of(amplifier_file()) is not None
    assert bench.turn_on_lead_of(load_amplifier("hx2150").model_copy(update={"remote_turn_on": None})) is None
