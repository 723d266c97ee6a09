"""The computing time of the simulator: for a capture, and for an exchange."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.session import Session
from benchctl.measure.signal.record import Capture
from benchctl.simulator.instruments.oscilloscopes.oscilloscope import SimulatedOscilloscope
from benchmarks.rig import Rig, rig
from benchmarks.rows import Row
from benchmarks.timing import medians

REPEATS = 9
EXCHANGES = 1000
CAPTURE = Record(span_s=0.05, pretrigger_s=0.0, samples=50_000)  # 1 MSa/s
OUTPUTS = ("output A", "output B")


def rows() -> Iterator[Row]:
    """A capture, by the simulator alone and as the run sees it; an exchange."""
    with rig() as here:
        here.wake()
        here.bench.oscilloscope.capture("first", OUTPUTS, CAPTURE, dict.fromkeys(OUTPUTS, 40.0))
        yield _codes(here)
        yield _transfer(here)
        yield _exchange(here.bench.supply.session)


def _codes(here: Rig) -> Row:
    """The simulator's own work for the record in its memory, for which clients wait."""
    oscilloscope = here.simulated.instruments["oscilloscope"]
    assert isinstance(oscilloscope, SimulatedOscilloscope)
    scope = oscilloscope.scope
    (both_s,) = medians(
        lambda: [scope.inputs.codes(number, scope.record(), scope.channels[number].vertical) for number in (1, 2)],
        repeats=REPEATS,
    )
    return Row(
        "simulated capture, 50 ms of two channels at 1 MSa/s",
        f"{both_s * 1e3:.1f} ms",
        "under 30 ms",
        "the simulator's work: both signals, noise and converters",
    )


def _transfer(here: Rig) -> Row:
    """The same with everything that a run does for it, without the 50 ms of the record itself."""

    def capture() -> Capture:
        return here.bench.oscilloscope.capture("timed", OUTPUTS, CAPTURE, dict.fromkeys(OUTPUTS, 40.0))

    (whole_s,) = medians(capture, repeats=REPEATS)
    return Row(
        "the same as a run takes it, in real time",
        f"{(whole_s - CAPTURE.span_s) * 1e3:.1f} ms",
        "",
        "settings, trigger, polling and transfer over loopback, beyond the 50 ms themselves",
    )


def _exchange(session: Session) -> Row:
    def exchanges() -> None:
        for _ in range(EXCHANGES):
            session.ask("MEAS:VOLT?")

    (all_s,) = medians(exchanges, repeats=REPEATS)
    return Row(
        "question and answer over loopback",
        f"{EXCHANGES / all_s:,.0f} a second",
        "",
        f"{all_s / EXCHANGES * 1e6:.0f} us each, through session, pyvisa-py, socket and simulated supply",
    )
