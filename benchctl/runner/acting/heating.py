"""Collects the heatsink's readings while a step lasts, and predicts its final temperature."""

from __future__ import annotations

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.warming import HEATSINK, TIME, WarmingContext, predicted_end
from benchctl.measure.signal.thermal import Prediction
from benchctl.runner.acting.run import Run

# Readings that are nearer in time than this give no more information than one.
READ_EVERY_S = 1.0
# A new prediction is made when there are so many more readings; the first one after this many.
LOOK_AFTER = 1.2
FIRST_LOOK_S = 20.0
# After so many time constants the final temperature of a heatsink is predicted to a kelvin (tried on the simulated
# bench).
KNOWN_AFTER = 1.25
# A thermometer's display: what a prediction may trust a reading to.
RESOLUTION_K = 0.01


class HeatingTrend:
    """Collects readings, and predicts their final value from time to time, because each prediction takes some
    computing.
    """

    def __init__(self, run: Run) -> None:
        self._run = run
        self._began_s = run.clock.now()
        self._next_look_s = FIRST_LOOK_S
        self.is_watched = run.can_read(HEATSINK)
        self.readings: dict[str, list[float]] = {TIME: [], **({HEATSINK: []} if self.is_watched else {})}
        self.prediction: Prediction | None = None
        self._predicted_s = 0.0

    @property
    def elapsed_s(self) -> float:
        """Since the collecting began."""
        return self._run.clock.now() - self._began_s

    def read_if_watched(self) -> float | None:
        """As `read`; if no sensor is on the heatsink, only the time is kept."""
        if self.is_watched:
            return self.read()
        self.readings[TIME].append(self.elapsed_s)
        return None

    def read(self) -> float:
        """One reading of the heatsink, degC, which is kept."""
        temperature_c = self._run.read(HEATSINK)
        self.readings[TIME].append(self.elapsed_s)
        self.readings[HEATSINK].append(temperature_c)
        return temperature_c

    def look(self) -> bool:
        """Predict again if it is time to. Returns whether it was."""
        if not self.is_watched or self.elapsed_s < self._next_look_s:
            return False
        self._next_look_s = LOOK_AFTER * self.elapsed_s
        try:
            self.prediction, self._predicted_s = predicted_end(self.readings, RESOLUTION_K), self.elapsed_s
        except MeasurementError:
            return False
        return True

    def since_s(self, from_prediction_s: float) -> float:
        """Seconds from now, of a time that a prediction counts from its last reading."""
        return max(from_prediction_s - (self.elapsed_s - self._predicted_s), 0.0)

    def end_in_words(self) -> str:
        """Where the temperature is predicted to end."""
        if self.prediction is None:
            return ""
        final_c, within_k = self.prediction.final_c, self.prediction.expanded_uncertainty_k
        return f"predicted to end at {final_c:.1f} ± {within_k:.1f} degC"

    def context(self) -> WarmingContext:
        """What an analysis of the readings must know."""
        return WarmingContext(resolution_k=RESOLUTION_K, **self._run.accuracies())


def left_in_words(seconds: float) -> str:
    """A wait as a person says it."""
    return f"about {seconds:.0f} s left" if seconds < 90.0 else f"about {seconds / 60.0:.0f} min left"
