"""A document in a few lines: what is rarer on a bench than on those that ship."""

from __future__ import annotations

import pytest

from benchctl.documents.summary import summary
from tests.instruments.test_roles import with_electronic_load
from tests.runner.rig import Edits, amplifier_file, bench_file, sequence_file

LEAD = "remote_turn_on: {by: supply, output: remote, voltage: 12 V}"
INPUTS = "inputs: {by: relay, relays: {A: 111, B: 112}}"


@pytest.mark.parametrize(
    ("edits", "name", "says"),
    [
        (with_electronic_load(), "loads", "at output A: electronic, 1 ohm to 1 kohm, 1 kW"),
        ({LEAD: "remote_turn_on: {by: relay, relay: 120}"}, "turn-on lead", "by relay 120"),
        ({LEAD: "remote_turn_on: {by: hand}"}, "turn-on lead", "by hand"),
        ({LEAD: ""}, "turn-on lead", "fed by nothing"),
        ({INPUTS: "inputs: {by: hand}"}, "inputs", "driven alone by hand"),
        ({INPUTS: ""}, "inputs", "all driven together"),
        ({"trigger: external": "trigger: channel 5"}, "trigger", "the generator's sync output on channel 5"),
    ],
)
def test_what_a_bench_may_be_instead(edits: Edits, name: str, says: str) -> None:
    assert says in summary(bench_file(edits)).by_name()[name]


def test_an_amplifier_says_what_it_leaves_open() -> None:
    bare = {
        "remote_turn_on: {voltage: 12 V, delay: 2 s}\n": "",
        "idle_current: 1.6 A\n": "",
        "class: AB": "class: AB\nserial: 17-0042",
        ", resistance: 0.55 K/W, time_constant: 8 min": "",
    }
    told = summary(amplifier_file(bare)).by_name()
    assert (told["wakes"], told["idle current"]) == (["with its supply"], ["not said"])
    assert told["unit"] == ["class AB, serial 17-0042"]
    assert told["heatsink"] == ["at most 85 degC"]


def test_a_sequence_needs_what_its_steps_and_limits_need() -> None:
    settling = sequence_file("settle: {supply_current: within 50 mA}", limits={"load": "{above: 100 degC}"})
    assert summary(settling).by_name()["needs"] == ["supply, thermometer; a sensor on the load"]
    assert summary(sequence_file("note: nothing")).by_name()["needs"] == ["nothing"]
