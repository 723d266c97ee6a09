"""The function generator: a sine, or bursts of it with a low level between them."""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.documents.driver_file.driver import GeneratorDriver
from benchctl.instruments.role import Role
from benchctl.instruments.safe_part import SafePart
from benchctl.instruments.session import Session

# Read-back agrees with the setting to this part of it: what six digits and a coarse level step leave.
LEVEL_TOLERANCE = 0.005
LEVEL_TOLERANCE_V = 1e-3
FREQUENCY_TOLERANCE = 1e-4
_FREQUENCY, _LEVEL, _OUTPUT = "the frequency", "the level", "the output"


@dataclass(frozen=True)
class Burst:
    """`cycles` whole cycles at `level_v`, then rest at `low_level_v`; one begins every `every_s`."""

    frequency_hz: float
    cycles: int
    level_v: float
    low_level_v: float
    every_s: float

    @property
    def burst_s(self) -> float:
        """How long the test level lasts."""
        return self.cycles / self.frequency_hz

    @property
    def rest_s(self) -> float:
        """How long the low level lasts."""
        return self.every_s - self.burst_s


class Generator(Role):
    """Levels are V rms of the sine at the generator's output."""

    def __init__(self, session: Session, driver: GeneratorDriver) -> None:
        super().__init__(session)
        self._words = driver.commands

    def prepare(self) -> None:
        """A steady sine, output untouched."""
        self._say(self._words.prepare)

    def set_frequency(self, frequency_hz: float) -> None:
        """Set and confirm the frequency."""
        tolerance_hz = FREQUENCY_TOLERANCE * frequency_hz
        with self._changing(_FREQUENCY):
            self._say(self._words.set_frequency, frequency_hz=frequency_hz)
            words = self._words.get_frequency
            self._confirm(self._number(_FREQUENCY, frequency_hz, "Hz", tolerance_hz, words, {}))

    def set_level(self, level_v: float) -> None:
        """Set and confirm the level of the steady sine, V rms."""
        tolerance_v = LEVEL_TOLERANCE * level_v + LEVEL_TOLERANCE_V
        with self._changing(_LEVEL):
            self._say(self._words.set_level, level_v=level_v)
            self._confirm(self._number(_LEVEL, level_v, "V rms", tolerance_v, self._words.get_level, {}))

    def start_burst(self, burst: Burst) -> None:
        """Begin to repeat `burst`, its first cycle at once. What a generator answers of its level and frequency then
        is its own affair."""
        with self._changing(_LEVEL, _FREQUENCY):
            self._say(
                self._words.burst_on,
                level_v=burst.level_v,
                low_level_v=burst.low_level_v,
                burst_s=burst.burst_s,
                rest_s=burst.rest_s,
            )

    def stop_burst(self) -> None:
        """Back to the steady sine at the level last set for it."""
        self._say(self._words.burst_off)

    def output_on(self) -> None:
        """Connect the output and see that it is."""
        with self._changing(_OUTPUT):
            self._say(self._words.output_on)
            self._confirm(self._switch(_OUTPUT, self._words.get_output, on=True))

    def output_off(self) -> None:
        """Disconnect the output and see that it is."""
        with self._changing(_OUTPUT):
            self._say(self._words.output_off)
            self._confirm(self._switch(_OUTPUT, self._words.get_output, on=False))

    def safe_parts(self) -> list[SafePart]:
        """What the safe state asks of it."""
        return [self._safe_part("output off", self._words.output_off.render(), self._words.get_output.render())]
