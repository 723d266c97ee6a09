"""What can be seen of a dry run while it goes on."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from benchctl.cli.shown.views import PlainView
from benchctl.errors import LimitTripped
from benchctl.launch.run import Documents, Result, run
from benchctl.measure.budget.figure import Figure
from benchctl.runner.acting.run import LastRecord
from benchctl.runner.plan import PlannedStep
from benchctl.watch.now import Now
from benchctl.watch.seen import OLD_RECORD_S
from tests.cli.files import sequence

BURSTS_AND_TONE = """\
benchctl: sequence 1
title: Bursts and a tone
limits: {supply_current: {above: 95 A}}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - measure_burst: {cycles: [8], from: 500 mV}
  - hold: {for: 20 s}
  - measure_continuous: {for: 1 s, level: 500 mV}
  - hold: {for: 20 s}
  - power_off
"""


class Watcher(PlainView):
    """Looks at the run at each figure and each step, as a thread of its own would now and then."""

    def __init__(self) -> None:
        super().__init__(Console(file=io.StringIO()))
        self.at_figures: dict[str, list[Now]] = {}
        self.at_steps: list[Now] = []

    def figures(self, planned: PlannedStep, figures: Sequence[Figure]) -> None:
        self.at_figures.setdefault(planned.step.kind, []).append(self.seen.now())
        super().figures(planned, figures)

    def step_started(self, index: int, planned: PlannedStep) -> None:
        super().step_started(index, planned)
        self.at_steps.append(self.seen.now())


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> tuple[Watcher, Result]:
    folder = tmp_path_factory.mktemp("watched")
    watcher = Watcher()
    documents = Documents(sequence(folder, BURSTS_AND_TONE), "workshop", "hx2150")
    return watcher, run(documents, watcher, out=folder / "runs", dry_run=True)


def power_w(now: Now, channel: str) -> float:
    shown = next(output for output in now.outputs if output.channel == channel).power
    number, unit = shown.split()
    assert unit == "W"
    return float(number)


@pytest.mark.parametrize(
    ("step", "name"), [("measure_burst", "burst_power_clean"), ("measure_continuous", "continuous_power")]
)
def test_power_now_is_that_of_the_figures_of_the_same_record(
    watched: tuple[Watcher, Result], step: str, name: str
) -> None:
    watcher, result = watched
    last = watcher.at_figures[step][-1]
    for channel in ("A", "B"):
        (figure,) = (each for each in result.outcome.figures if (each.name, each.channel) == (name, channel))
        # The last record of bursts is that at full drive, a little beyond the clean level (its first cycle is clean).
        assert power_w(last, channel) == pytest.approx(figure.value, rel=0.08 if step == "measure_burst" else 0.005)
    assert last.state == "driven"
    assert not last.outputs_are_old


def test_distortion_now_is_told_beside_it(watched: tuple[Watcher, Result]) -> None:
    watcher, _ = watched
    assert all(output.distortion.endswith(" %") for output in watcher.at_figures["measure_burst"][-1].outputs)


def test_each_step_is_numbered_and_the_time_that_is_left_falls(watched: tuple[Watcher, Result]) -> None:
    watcher, _ = watched
    assert [(now.step, now.steps) for now in watcher.at_steps] == [(number, 7) for number in range(1, 8)]
    left = [now.remaining for now in watcher.at_steps]
    assert left == sorted(left, reverse=True)
    assert watcher.at_steps[2].label == "measure burst"


def test_a_record_from_before_a_wait_is_told_as_old(watched: tuple[Watcher, Result]) -> None:
    watcher, _ = watched
    after = watcher.at_steps[4]
    assert after.record_age_s is not None
    assert after.record_age_s > OLD_RECORD_S
    assert after.outputs_are_old
    assert after.state == "on"


def test_a_record_of_another_drive_is_told_as_old_although_a_signal_is_there(watched: tuple[Watcher, Result]) -> None:
    watcher, _ = watched
    run, before = watcher.run, watcher.run.conditions
    last = run.last_record
    assert last is not None
    run.conditions = last.capture.conditions
    run.guard.energised = True
    run.last_record = LastRecord(replace(last.capture, taken_s=run.clock.now()), last.burst)
    assert not watcher.seen.now().outputs_are_old
    run.set_to(driven=("B",))
    assert watcher.seen.now().outputs_are_old
    run.conditions, run.last_record, run.guard.energised = before, last, False


def test_the_last_result_of_each_channel_is_kept(watched: tuple[Watcher, Result]) -> None:
    watcher, _ = watched
    results = {each.channel: each.name for each in watcher.at_steps[-1].results}
    assert results == {"": "efficiency", "A": "continuous power", "B": "continuous power"}


def test_of_a_run_that_has_ended_no_reading_is_shown_as_if_it_were_of_now(watched: tuple[Watcher, Result]) -> None:
    watcher, _ = watched
    watcher.seen.ended("finished", "Finished.")
    now = watcher.seen.now()
    assert (now.headline, now.sentence, now.is_over) == ("FINISHED", "Finished.", True)
    assert (now.outputs, now.limits, now.supply, now.remaining, now.drive) == ((), (), (), "", "")


def test_a_limit_that_trips_is_seen_as_stopping_with_its_reason(tmp_path: Path) -> None:
    watcher = Watcher()
    file = sequence(tmp_path, BURSTS_AND_TONE, ("above: 95 A", "above: 1 A"))
    result = run(
        Documents(file, "workshop", "hx2150"), watcher, out=tmp_path / "runs", dry_run=True, accepted="a trip is wanted"
    )
    assert isinstance(result.outcome.error, LimitTripped)
    now = watcher.seen.now()
    assert now.headline == "STOPPING"
    assert now.sentence == str(result.outcome.error)
    assert all(part.is_confirmed for part in now.parts)
    assert (now.outputs, now.limits, now.supply) == ((), (), ()), "nobody reads them any more"
