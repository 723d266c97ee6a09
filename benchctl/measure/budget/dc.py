"""The dc at each output in one record, with the most that it may be off: what limits on dc are judged by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.measure.budget.signals import mean_with_scatter
from benchctl.measure.budget.zero import stated_limit
from benchctl.measure.freedom import expanded
from benchctl.measure.signal.record import OUTPUT, Capture, Trace
from benchctl.measure.signal.supply import Span, at_rest, whole_cycles
from benchctl.measure.uncertainty import Accuracies
from benchctl.quantity import render

_FEWEST_CYCLES = 2.0


@dataclass(frozen=True)
class OutputDc:
    """The dc at one output, V. `limit_v` is a limit of error and no standard uncertainty: a run takes hundreds of
    records, and one in twenty of them may not stop it."""

    channel: str
    value_v: float
    limit_v: float

    def __str__(self) -> str:
        return f"{render(self.value_v, 'V')} ± {render(self.limit_v, 'V', digits=2)}"

    @property
    def surely_v(self) -> float:
        """As much dc as there is at least, to either side."""
        return max(abs(self.value_v) - self.limit_v, 0.0)


def output_dc(
    capture: Capture, accuracy: Mapping[str, Accuracies], frequency_hz: float | None = None
) -> tuple[OutputDc, ...]:
    """The dc at every output; under a tone of `frequency_hz` over whole cycles, whose mean is no part of a cycle."""
    span = _span(capture, frequency_hz)
    return tuple(
        _dc(channel, capture.traces[OUTPUT + channel], span, accuracy.get(OUTPUT + channel, ()))
        for channel in capture.channels
    )


def worst_dc(found: tuple[OutputDc, ...]) -> OutputDc | None:
    """The output that has surely most of it and, where that is none, shows most; None where no output was recorded."""
    return max(found, key=lambda dc: (dc.surely_v, abs(dc.value_v)), default=None)


def _span(capture: Capture, frequency_hz: float | None) -> Span:
    if frequency_hz and capture.duration_s * frequency_hz >= _FEWEST_CYCLES:
        return whole_cycles(capture, frequency_hz)
    return at_rest(capture)


def _dc(channel: str, trace: Trace, span: Span, accuracies: Accuracies) -> OutputDc:
    mean_v = mean_with_scatter(trace, span)
    value_v, (scatter_v, _) = float(mean_v.nominal_value), expanded(mean_v)
    zero_v = stated_limit(accuracies, trace.full_scale) if trace.zero_limit is None else trace.zero_limit
    gain = sum(accuracy.reading for accuracy in accuracies)
    return OutputDc(channel, value_v, gain * abs(value_v) + zero_v + scatter_v)
