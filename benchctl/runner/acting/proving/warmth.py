"""All through a run: does the heatsink's sensor show that the heatsink warms?

The guard reads supply and temperatures anyway. While the runner waits, what it has read is held against the least that
the heatsink must have warmed, every few seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from benchctl.documents.bench_file.sight import reads_heatsink
from benchctl.documents.model.limits import AMBIENT, HEATSINK, SUPPLY_SIGNALS
from benchctl.measure.agreement.warmth import LeastRise, Row, as_readings, compared
from benchctl.measure.analyses.warmth_context import WarmthContext
from benchctl.runner.acting.run import Run

ROW_EVERY_S = 5.0
# What stays in the amplifier at least of what it takes beyond idle: a linear stage gives away no more than 0.785 of it
# (pi / 4, class B at full power), one of class D no more than 0.95 (common practice).
LEAST_HEAT_OF_LINEAR, LEAST_HEAT_OF_CLASS_D = 0.2, 0.05


@dataclass
class WarmthWatch:
    """What was read so far, and the least that it must show."""

    run: Run
    rows: list[Row] = field(default_factory=list)
    least: LeastRise | None = None
    has_told: bool = False

    def look(self) -> None:
        """Take a row if it is time for one, and judge it.

        Raises:
            InstrumentsDisagree: the sensor does not show what the heat makes.
        """
        now_s = self.run.clock.now()
        if self.rows and now_s < self.rows[-1].time_s + ROW_EVERY_S:
            return
        row = self._row(now_s)
        if math.isnan(row.heatsink_c):
            return
        self.rows.append(row)
        if self.least is None:
            self.least = LeastRise(self._context(), row)
            return
        found = list(compared(self.rows[0], row, self.least.follow(row)))
        if found and (not self.has_told or not found[0].agrees):
            self._tell()

    def _row(self, now_s: float) -> Row:
        readings = self.run.guard.readings
        names = (*SUPPLY_SIGNALS, HEATSINK, AMBIENT)
        return Row(now_s, *(_number(readings.get(name)) for name in names))

    def _tell(self) -> None:
        """Journal it the first time that anything can be told, and whenever it contradicts itself."""
        self.has_told = True
        self.run.analyse("check_warmth", {}, as_readings(self.rows), self._context(), {})
        self.run.check_agreement()

    def _context(self) -> WarmthContext:
        amplifier = self.run.files.amplifier
        return WarmthContext(
            heatsink_k_per_w=amplifier.heatsink_k_per_w,
            time_constant_s=amplifier.heatsink.time_constant_s,
            idle_w=(amplifier.idle_current_a or 0.0) * amplifier.supply.nominal_v,
            least_heat=LEAST_HEAT_OF_CLASS_D if amplifier.amplifier_class == "D" else LEAST_HEAT_OF_LINEAR,
            **self.run.accuracies(),
        )


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def watch_warmth(run: Run) -> None:
    """From now on, where a sensor is on the heatsink and the supply is read."""
    if run.bench.has("supply") and reads_heatsink(run.files.bench, run.files.amplifier):
        run.while_waiting.append(WarmthWatch(run).look)
