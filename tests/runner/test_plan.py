"""Sweeps written out: order, numbers and labels."""

from __future__ import annotations

from benchctl.documents.sequence_file.bench_steps import Hold, Set
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.runner.plan import PlannedStep, expand
from tests.runner.rig import POWER_ON_LINE, amplifier_file, bench_file, document, sequence_file

NESTED = """\
benchctl: sequence 1
title: Nested
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - sweep:
      load: [4 ohm, 2 ohm]
      frequency: [1 kHz]
    steps:
      - sweep: {level: [100 mV, 200 mV]}
        steps:
          - hold: {for: 1 s}
          - hold: {for: 2 s}
      - hold: {for: 3 s}
  - power_off
"""


def plan(text: str) -> tuple[PlannedStep, ...]:
    return expand(document(text, "sequence", Sequence), amplifier_file(), bench_file())


def test_steps_outside_a_sweep_keep_their_order_and_count_from_one() -> None:
    steps = expand(sequence_file(POWER_ON_LINE, "hold: {for: 1 s}", "power_off"), amplifier_file(), bench_file())
    assert [step.label for step in steps] == ["1 power_on", "2 hold", "3 power_off"]


def test_a_step_in_a_sweep_is_numbered_by_its_place_in_the_file_and_labelled_with_its_point() -> None:
    assert [step.label for step in plan(NESTED)] == [
        "1 power_on",
        "2 set [4 ohm, 1 kHz]",
        "2.1 set [4 ohm, 1 kHz, 100 mV]",
        "2.1.1 hold [4 ohm, 1 kHz, 100 mV]",
        "2.1.2 hold [4 ohm, 1 kHz, 100 mV]",
        "2.1 set [4 ohm, 1 kHz, 200 mV]",
        "2.1.1 hold [4 ohm, 1 kHz, 200 mV]",
        "2.1.2 hold [4 ohm, 1 kHz, 200 mV]",
        "2.2 hold [4 ohm, 1 kHz]",
        "2 set [2 ohm, 1 kHz]",
        "2.1 set [2 ohm, 1 kHz, 100 mV]",
        "2.1.1 hold [2 ohm, 1 kHz, 100 mV]",
        "2.1.2 hold [2 ohm, 1 kHz, 100 mV]",
        "2.1 set [2 ohm, 1 kHz, 200 mV]",
        "2.1.1 hold [2 ohm, 1 kHz, 200 mV]",
        "2.1.2 hold [2 ohm, 1 kHz, 200 mV]",
        "2.2 hold [2 ohm, 1 kHz]",
        "3 power_off",
    ]


def test_every_point_of_a_sweep_begins_by_setting_its_values() -> None:
    settings = [step.step for step in plan(NESTED) if isinstance(step.step, Set)]
    assert [(each.load_ohm, each.frequency_hz, each.level_v) for each in settings] == [
        (4.0, 1000.0, None),
        (None, None, 0.1),
        (None, None, 0.2),
        (2.0, 1000.0, None),
        (None, None, 0.1),
        (None, None, 0.2),
    ]


def test_the_axis_written_first_changes_slowest() -> None:
    text = NESTED.replace("load: [4 ohm, 2 ohm]", "frequency: [1 kHz, 2 kHz]").replace(
        "      frequency: [1 kHz]\n", "      load: [4 ohm, 2 ohm]\n"
    )
    points = [step.point for step in plan(text) if step.number == "2.2"]
    assert points == ["1 kHz, 4 ohm", "1 kHz, 2 ohm", "2 kHz, 4 ohm", "2 kHz, 2 ohm"]


def test_the_steps_themselves_are_the_files_own() -> None:
    held = [step.step.for_s for step in plan(NESTED) if isinstance(step.step, Hold)]
    assert held == [1.0, 2.0, 1.0, 2.0, 3.0] * 2
