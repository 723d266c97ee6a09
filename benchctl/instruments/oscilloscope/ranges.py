"""The oscilloscope's channels: which are shown, behind which probe, and on which range each signal fits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchctl.documents.driver_file.oscilloscope import OscilloscopeCommands, OscilloscopeDriver
from benchctl.errors import GarbledAnswer
from benchctl.instruments.oscilloscope.record import Input
from benchctl.instruments.oscilloscope.timing import Ratings, scale_set_v, stepped
from benchctl.instruments.oscilloscope.vertical import FILL, FINEST_V_PER_DIVISION, ranges_v, setting_v
from benchctl.instruments.role import Role
from benchctl.instruments.session import Session
from benchctl.measure.signal.record import Trace

# Below this part of the range a record wastes the converter: three more bits are to be had.
SPARSE = 0.12


class Ranges(Role):
    """Shows channels and sets their ranges. Volts here are at its input, whatever it is told of probes."""

    _words: OscilloscopeCommands

    def __init__(
        self, session: Session, driver: OscilloscopeDriver, inputs: Mapping[str, Input], ratings: Ratings
    ) -> None:
        super().__init__(session, driver)
        self._oscilloscope = driver
        self._words = driver.commands
        self.inputs = dict(inputs)
        self.ratings = ratings
        self._half_range: dict[str, float] = {}
        self._shown: tuple[str, ...] | None = None

    @property
    def bits(self) -> int:
        """Of its converter."""
        return self.ratings.bits

    def _set_mode(self) -> None:
        """As `prepare` says, with every wired channel hidden."""
        self._say(self._words.prepare)
        for source in self.inputs.values():
            self._say(self._words.hide_channel, channel=source.channel)
        self._shown = ()
        self._half_range.clear()

    def _show(self, signals: Sequence[str]) -> None:
        if self._shown == tuple(signals):
            return
        sources = {self.inputs[signal].channel: self.inputs[signal] for signal in signals}
        for channel in dict.fromkeys(source.channel for source in self.inputs.values()):
            self._say(self._words.show_channel if channel in sources else self._words.hide_channel, channel=channel)
        for source in sources.values():
            ratio = self.probe_ratio(source)
            self._say(self._words.set_probe, channel=source.channel, probe_ratio=ratio, probe_gain=1.0 / ratio)
        for source in self.inputs.values():  # a probe that was moved: the channel's range is another signal's now
            if source.channel in sources and source.signal not in signals:
                self._half_range.pop(source.signal, None)
        self._shown = tuple(signals)

    def probe_ratio(self, source: Input) -> float:
        """The probe's ratio that the instrument is told: it multiplies every voltage by it. A clamp's is 1."""
        if not self._words.set_probe:
            return 1.0
        return stepped(source.per_volt if source.unit == "V" else 1.0, "probe_ratio", self._oscilloscope, "nearest")

    def forget_ranges(self) -> None:
        """Choose the range of the next record by its peak alone, not one that is set and would do."""
        self._half_range.clear()

    def _fit(self, signal: str, peak: float) -> None:
        """Choose a range for a peak, unless the present one will do."""
        half_range = self._half_range.get(signal, 0.0)
        if not SPARSE * half_range <= peak <= 0.95 * half_range:
            self._set_range(signal, peak / FILL)

    def _refit(self, signal: str, trace: Trace) -> bool:
        """Whether the range had to be changed for what the record shows."""
        half_range = self._half_range[signal]
        if trace.is_clipped:
            self._set_range(signal, half_range * 2.5)
            return True
        finest = self._divisions / 2 * FINEST_V_PER_DIVISION * self.inputs[signal].per_volt
        if trace.peak < SPARSE * half_range and half_range > 2 * finest:
            self._set_range(signal, trace.peak / FILL)
            # An instrument may have no finer range; then the record is as good as it gets.
            return self._half_range[signal] < half_range
        return False

    def _set_range(self, signal: str, half_range: float) -> None:
        """Set the range that shows a peak of `half_range`, in the signal's unit."""
        source = self.inputs[signal]
        got_v = self._set_vertical(source, setting_v(half_range / source.per_volt / (self._divisions / 2)))
        self._half_range[signal] = got_v * self._divisions / 2 * source.per_volt

    def _set_vertical(self, source: Input, volts_per_division: float, offset_divisions: float = 0.0) -> float:
        """Set volts per division, with so many divisions of voltage in the middle of the screen.

        Returns:
            the volts per division that the instrument says that it has.
        """
        wanted_v = scale_set_v(volts_per_division, self._oscilloscope)
        ratio = self.probe_ratio(source)
        shown_v = wanted_v * ratio
        values = vertical_values(shown_v, offset_divisions, self._divisions)
        self._say(self._words.set_vertical, channel=source.channel, **values)
        return self._read_vertical(source) / ratio if self._words.get_vertical else wanted_v

    def _read_vertical(self, source: Input) -> float:
        """Volts per division as the instrument shows them."""
        got = self._ask_number(self._words.get_vertical, channel=source.channel)
        if got <= 0:
            raise self._garbled(f"says its range is {got:g} V a division")
        return got / self._divisions if "range_v" in self._words.set_vertical.uses else got

    def _settings_for(self, signal: str, peak: float) -> tuple[float, ...]:
        """Volts a division at the input, from the finest to what shows a peak."""
        return ranges_v(peak / FILL / self.inputs[signal].per_volt / (self._divisions / 2))

    def _has_changed(self, signal: str, volts_per_division: float) -> bool:
        """Set a range; whether it is another than before."""
        before = self._half_range.get(signal)
        self._set_range(signal, volts_per_division * self._divisions / 2 * self.inputs[signal].per_volt)
        return self._half_range[signal] != before

    @property
    def _divisions(self) -> int:
        return self._oscilloscope.divisions.vertical

    def _garbled(self, what: str, advice: str = "") -> GarbledAnswer:
        return GarbledAnswer(what, instrument=self.session.name, address=self.session.address, advice=advice)


def vertical_values(volts_per_division: float, offset_divisions: float, divisions: int) -> dict[str, float]:
    """The values that a driver file may use in `set_vertical`, with so many divisions of voltage in the middle."""
    return {
        "volts_per_division": volts_per_division,
        "millivolts_per_division": 1e3 * volts_per_division,
        "range_v": volts_per_division * divisions,
        "offset_v": offset_divisions * volts_per_division,
        "shift_v": 0.0 - offset_divisions * volts_per_division,
        "shift_divisions": 0.0 - offset_divisions,
    }
