"""From the settings of an output to the signal that it gives."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from benchctl.simulator.generator_signal import GeneratorSignal
from benchctl.simulator.instruments.generators.panel import Panel
from benchctl.simulator.model.true_errors import TrueError

SWEEP_STEPS = 20
MODULATION_STEPS = 16
_RMS_PER_VPP = 1 / (2 * math.sqrt(2))


@dataclass(frozen=True)
class Course:
    """A list that an output plays, in base units; what `GeneratorSignal` says of its fields holds here too."""

    parts: tuple[float, ...]
    """levels, as parts of the level that is set"""
    dwells_s: tuple[float, ...]
    frequencies_hz: tuple[float, ...] = ()
    repetitions: float = math.inf
    only_lists: bool = False
    carrier_runs_free: bool = False
    waits: bool = False
    """for a trigger"""


class Player:
    """Keeps one output of the simulated bench as its panel says."""

    def __init__(self, drive: GeneratorSignal, level_error: TrueError, frequency_error: TrueError) -> None:
        self.drive = drive
        self._level_error = level_error
        self._frequency_error = frequency_error
        self._course: Course | None = None

    def follow(self, panel: Panel, now_s: float, factor: float = 1.0) -> None:
        """Bring the output to what the panel says; a list that did not change goes on."""
        drive, set_v = self.drive, panel.open_vpp * _RMS_PER_VPP
        true_v = factor * max(self._level_error.indicated(set_v), 0.0)
        wave, cycle_hz = panel.wave
        frequency_hz = self._frequency_error.indicated(cycle_hz)
        if frequency_hz != drive.frequency_hz or wave is not drive.wave:
            drive.wave, drive.frequency_hz, drive.phase_origin_s = wave, frequency_hz, now_s
        drive.level_v, drive.offset_v = true_v, panel.open_offset_v
        drive.start_phase_rad = math.radians(panel.start_phase_deg) if panel.burst_on else 0.0
        course = self._course_of(panel)
        drive.levels_v = tuple(true_v * part for part in course.parts) if course else ()
        if course != self._course:
            self._begin(course, now_s)

    def trigger(self, now_s: float) -> bool:
        """Play one burst; False where nothing waits for a trigger."""
        if self._course is None or not self._course.waits or self.drive.list_playing(now_s):
            return False
        self.drive.start_list(now_s)
        return True

    def stop(self) -> None:
        """Nothing plays or waits until the panel is next followed, which begins everything anew."""
        self._begin(None, 0.0)

    def _begin(self, course: Course | None, now_s: float) -> None:
        self._course = course
        self.drive.stop_list()
        self.drive.only_lists = course is not None and course.only_lists
        if course is None:
            return
        self.drive.dwells_s, self.drive.repetitions = course.dwells_s, course.repetitions
        self.drive.frequencies_hz, self.drive.carrier_runs_free = course.frequencies_hz, course.carrier_runs_free
        if not course.waits:
            self.drive.start_list(now_s)

    def _course_of(self, panel: Panel) -> Course | None:
        """A table comes before a burst, a burst before a sweep, a sweep before modulation: no two sound together."""
        if panel.table is not None:
            return self._table(panel) if panel.table.wave is None else None
        if panel.burst_on:
            return self._burst(panel)
        if panel.sweep_on:
            return self._sweep(panel)
        return _modulation(panel) if panel.modulation_on else None

    def _burst(self, panel: Panel) -> Course:
        burst_s = panel.cycles / self._frequency_error.indicated(panel.frequency_hz)
        if panel.trigger_source in ("IMM", "TIM"):
            return Course((1.0, 0.0), (burst_s, panel.every_s - burst_s), only_lists=True)
        return Course((1.0,), (burst_s,), repetitions=1, only_lists=True, waits=True)

    def _table(self, panel: Panel) -> Course:
        table = panel.table
        assert table is not None
        rate_hz = self._frequency_error.indicated(panel.table_rate_hz)
        count = len(table.stretches)
        return Course(
            tuple(stretch.level for stretch in table.stretches),
            tuple(stretch.points / rate_hz for stretch in table.stretches),
            frequencies_hz=(rate_hz / table.cycle_points,) * count,
        )

    def _sweep(self, panel: Panel) -> Course:
        frequencies_hz = np.geomspace(*panel.sweep_hz, SWEEP_STEPS)
        true_hz = tuple(self._frequency_error.indicated(float(each)) for each in frequencies_hz)
        return Course((1.0,) * SWEEP_STEPS, (panel.sweep_s / SWEEP_STEPS,) * SWEEP_STEPS, frequencies_hz=true_hz)


def _modulation(panel: Panel) -> Course:
    """Half the level, times 1 + depth·m with m from -1 to 1: at full depth the peaks have the level that is set."""
    every_s = 1 / panel.modulation_hz
    if panel.modulation_shape == "SQU":
        parts: tuple[float, ...] = ((1 + panel.depth) / 2, (1 - panel.depth) / 2)
        return Course(parts, (panel.duty * every_s, (1 - panel.duty) * every_s), carrier_runs_free=True)
    angles = 2 * np.pi * (np.arange(MODULATION_STEPS) + 0.5) / MODULATION_STEPS
    parts = tuple(float(part) for part in (1 + panel.depth * np.sin(angles)) / 2)
    return Course(parts, (every_s / MODULATION_STEPS,) * MODULATION_STEPS, carrier_runs_free=True)
