"""Sweeps written out: order, numbers and labels."""

from __future__ import annotations

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Hold, Set
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.runner.plan import PlannedStep, expand
from tests.runner.ordinary import ONE_PROBE, ONLY_A
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
    assert [(each.load_ohm, each.frequency_hz, each.level) for each in settings] == [
        (4.0, 1000.0, None),
        (None, None, Level(0.1)),
        (None, None, Level(0.2)),
        (2.0, 1000.0, None),
        (None, None, Level(0.1)),
        (None, None, Level(0.2)),
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


PROBED = """\
benchctl: sequence 1
title: Probed
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - measure_idle: {for: 1 s}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - cool: {heatsink: below 45 degC}
  - find_clean_level: {thd_n: 1 %}
  - measure_continuous: {for: 1 s}
  - soak: {for: 1 min}
  - repeat: {times: 2}
    steps:
      - measure_idle: {for: 1 s}
  - cool: {heatsink: below 45 degC}
  - power_off
"""


def probed(text: str = PROBED) -> list[str]:
    steps = expand(document(text, "sequence", Sequence), amplifier_file(), bench_file(ONE_PROBE))
    return [step.label for step in steps]


def test_looks_are_taken_at_one_output_after_the_other_with_the_waits_before_them() -> None:
    """Each round begins where the probe is; what lasts long, and what shows something in time, is done once."""
    assert probed() == [
        "1 move_probe [output A]",
        "1 power_on",
        "2 move_probe [output A]",
        "2 measure_idle [output A]",
        "2 move_probe [output B]",
        "2 measure_idle [output B]",
        "3 set",
        "4 move_probe [output B]",
        "4 cool [output B]",
        "5 find_clean_level [output B]",
        "6 measure_continuous [output B]",
        "4 move_probe [output A]",
        "4 cool [output A]",
        "5 find_clean_level [output A]",
        "6 measure_continuous [output A]",
        "7 soak",
        "8.1 measure_idle [1 of 2]",
        "8.1 measure_idle [2 of 2]",
        "9 cool",
        "10 power_off",
    ]


def test_a_level_that_is_set_is_set_again_for_each_output() -> None:
    """The look at one output mutes it."""
    swept = (
        PROBED[: PROBED.index("  - set:")]
        + """\
  - sweep: {level: [100 mV]}
    steps:
      - measure_continuous: {for: 1 s}
"""
    )
    assert probed(swept)[-6:] == [
        "3.1 move_probe [100 mV, output B]",
        "3.1 set [100 mV, output B]",
        "3.1 measure_continuous [100 mV, output B]",
        "3.1 move_probe [100 mV, output A]",
        "3.1 set [100 mV, output A]",
        "3.1 measure_continuous [100 mV, output A]",
    ]


def test_each_channel_is_driven_where_the_probe_is() -> None:
    labels = probed(PROBED.replace("measure_continuous: {for: 1 s}", "measure_continuous: {for: 1 s, driven: each}"))
    driven = [label for label in labels if label.startswith("6 ")]
    assert driven == ["6 measure_continuous [output B, B driven]", "6 measure_continuous [output A, A driven]"]


def test_an_output_that_nothing_sees_is_not_driven_alone() -> None:
    text = PROBED.replace("measure_continuous: {for: 1 s}", "measure_continuous: {for: 1 s, driven: each}")
    steps = expand(document(text, "sequence", Sequence), amplifier_file(), bench_file(ONLY_A))
    assert [step.label for step in steps if step.number == "6"] == ["6 measure_continuous [A driven]"]
