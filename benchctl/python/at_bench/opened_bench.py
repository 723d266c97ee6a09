"""The bench in the hands of a program or a notebook."""

from __future__ import annotations

import atexit
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType

import pandas as pd

from benchctl.errors import BenchctlError, OperatorStop, UsageError
from benchctl.launch.acknowledgement import require_acknowledgement
from benchctl.launch.run import BY_HAND, Documents
from benchctl.library import runs_root
from benchctl.measure.conditions import Conditions
from benchctl.python.at_bench.roles import (
    GeneratorAtBench,
    LoadAtBench,
    MultimeterAtBench,
    OscilloscopeAtBench,
    SupplyAtBench,
    ThermometerAtBench,
)
from benchctl.python.at_bench.session import Session
from benchctl.python.frames import figures_frame
from benchctl.python.opened_run import OpenedRun, open_run
from benchctl.python.performing import kept_in, leave_report, raise_its_end
from benchctl.python.watching import acknowledged_by
from benchctl.runner.steps.by_hand.bench_in_hand import BenchInHand


class OpenedBench:
    """A session at the bench, under the guard, the guardians and the limits of `benchctl manual`.

    Use `benchctl.open_bench` to make one, as a context manager: `with benchctl.open_bench(...) as bench:`. When the
    block ends, also by an error, everything is switched off, and that is confirmed or an error says that it is not. If
    the process dies, the guardians switch everything off. The signal goes off if nothing is asked for a minute.
    """

    def __init__(self, session: Session, *, report: bool) -> None:
        self._session = session
        self._report = report
        self._is_open = False

    # -- begin and end -------------------------------------------------------------------------------------------

    def open(self) -> OpenedBench:
        """Open the bench for several cells of a notebook; call `close` in the end. `with` does both.

        Raises:
            BenchctlError: the bench cannot be opened; nothing was switched on.
        """
        if self._is_open or self._session.is_over:
            raise UsageError("this bench was opened before; call benchctl.open_bench again")
        self._is_open = True
        try:
            self._session.begin()
        except BaseException:
            self._leave(OperatorStop("stopped while the bench was opened"))
            raise
        # What is registered last is called first: before the links are closed, which pyvisa does at the end too.
        atexit.register(self._leave, OperatorStop("stopped, because the program has ended"))
        return self

    def close(self) -> OpenedRun:
        """Switch everything off and end the session; returns what it leaves. Calling it again changes nothing.

        Raises:
            NotConfirmedOff: an output is not known to be off.
            BenchctlError: what has ended the session before.
        """
        self._leave(None)
        result = self._session.result
        if result is None:
            raise self._session.why_over()
        raise_its_end(result)
        return open_run(result.folder)

    def __enter__(self) -> OpenedBench:
        return self if self._is_open and not self._session.is_over else self.open()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            self.close()
            return
        self._leave(OperatorStop(f"stopped, because the program left the bench: {error!r}"))
        result = self._session.result
        if result is not None and not result.outcome.is_safe:
            raise_its_end(result)
        if result is not None and isinstance(error, BenchctlError):
            kept_in(error, result.folder)

    def _leave(self, because: OperatorStop | None) -> None:
        if not self._is_open:
            return
        self._is_open = False
        atexit.unregister(self._leave)
        self._session.finish(because)
        if self._report and self._session.result is not None:
            leave_report(self._session.result.folder)

    # -- the amplifier -------------------------------------------------------------------------------------------

    def switch_on(self) -> None:
        """Switch the amplifier on: protection, supply and remote turn-on lead, and wait until it is at rest."""
        self._session.do(lambda bench: None if bench.is_on else bench.switch_on())

    def switch_off(self) -> None:
        """Switch the signal, the amplifier and its supply off, and disconnect the load."""
        self._session.do(BenchInHand.switch_off)

    def drive_channels(self, *channels: str) -> None:
        """From now on drive these channels, all if none is named; the signal goes off.

        Raises:
            UsageError: the amplifier has no such channel.
            MeasurementError: the bench cannot drive some of the channels only.
        """

        def work(bench: BenchInHand) -> None:
            every = tuple(bench.run.files.amplifier.channels)
            if unknown := [channel for channel in channels if channel not in every]:
                raise UsageError(f"the amplifier has no channel '{unknown[0]}'; it has {', '.join(every)}")
            bench.drive_channels(tuple(channel for channel in every if channel in channels) or every)

        self._session.do(work)

    def measure(self) -> pd.DataFrame:
        """Take a record of what the amplifier does now, keep it, and return its figures, as in `OpenedRun.figures`.

        Raises:
            UsageError: the amplifier is off, or plays bursts, of which no figure is defined at a level that was set.
            MeasurementError: the record cannot give its figures.
        """

        def work(bench: BenchInHand) -> pd.DataFrame:
            if not bench.is_on:
                raise UsageError("the amplifier is off; switch it on first")
            if bench.in_bursts and bench.is_driven:
                raise UsageError("no figure is defined of bursts at a set level; use bench.oscilloscope.capture()")
            bench.keep()
            recorder = bench.run.recorder
            return figures_frame(recorder.measured[-1:], recorder.identity)

        return self._session.do(work)

    # -- the instruments -----------------------------------------------------------------------------------------

    @property
    def generator(self) -> GeneratorAtBench:
        """The function generator."""
        return GeneratorAtBench(self._session)

    @property
    def oscilloscope(self) -> OscilloscopeAtBench:
        """The oscilloscope."""
        return OscilloscopeAtBench(self._session)

    @property
    def load(self) -> LoadAtBench:
        """The load."""
        return LoadAtBench(self._session)

    @property
    def supply(self) -> SupplyAtBench:
        """The supply."""
        return SupplyAtBench(self._session)

    @property
    def thermometer(self) -> ThermometerAtBench:
        """The thermometer; UsageError if the bench file has none."""
        self._need("thermometer")
        return ThermometerAtBench(self._session)

    @property
    def multimeter(self) -> MultimeterAtBench:
        """The multimeter; UsageError if the bench file has none."""
        self._need("multimeter")
        return MultimeterAtBench(self._session)

    def _need(self, role: str) -> None:
        if not self._session.run.bench.has(role):
            raise UsageError(f"the bench file has no {role}")

    # -- what is known -------------------------------------------------------------------------------------------

    @property
    def readings(self) -> dict[str, float]:
        """What the guard read last, by signal: V, A and degC. A reading that is too old is left out."""
        guard = self._session.run.guard
        found = {signal: value for signal, value in dict(guard.readings).items() if value is not None}
        return {signal: value for signal, value in found.items() if not guard.old_s(signal)}

    @property
    def conditions(self) -> Conditions:
        """What the bench is set to."""
        return self._session.run.conditions.in_effect

    @property
    def folder(self) -> Path:
        """The run folder of this session."""
        return self._session.run.recorder.folder.path

    @property
    def is_over(self) -> bool:
        """Whether the session has ended, by `close`, a limit or an error."""
        return self._session.is_over

    def note(self, text: str) -> None:
        """Keep a note with the run."""
        self._session.do(lambda bench: bench.run.note_of_a_person(text))

    def wait(self, seconds: float) -> None:
        """Let time pass, under guard; a signal stays on.

        Raises:
            BenchctlError: what has ended the session meanwhile, such as a limit.
        """
        self._session.wait(seconds)

    def __repr__(self) -> str:
        if not self._is_open:
            return "<bench, not open>"
        simulated = "Simulated. " if self._session.run.recorder.simulation.is_simulated else ""
        return f"<{simulated}bench, {self.conditions}>"


def open_bench(
    bench: str | Path,
    amplifier: str | Path,
    *,
    dry_run: bool = True,
    settings: Mapping[str, str] | None = None,
    accept: str = "",
    cautions: str = "",
    ask: Callable[[str], str] | None = None,
    tell: Callable[[str], object] | None = None,
    report: bool = True,
    out: str | Path | None = None,
) -> OpenedBench:
    """A bench for a program or a notebook, with the limits and the preflight of `benchctl manual`.

    Nothing is opened before the `with` block begins, or `open` is called.

    Args:
        bench, amplifier: files, or names of shipped ones.
        dry_run: simulated instruments, in real time. False takes the instruments of the bench file.
        settings: parameters of the sequence `by_hand`, such as {"current_limit": "5A", "key_every": "30s"}.
        accept: why preflight's warnings are accepted; without a reason they are refused.
        cautions: 'understood', once you have read SAFETY.md: it is asked for before the first real run on a bench.
        ask: asks a person at the bench, such as `input`, where hands are needed.
        tell: is given whatever a person should know, such as `print`.
        report: leave report.html in the run folder.
        out: the folder in which the run folder is made: `runs`, or what the variable BENCHCTL_RUNS names, if left out.

    Raises:
        DocumentError, UsageError: a file or an argument is wrong.
        OperatorStop: the cautions were not acknowledged.
    """
    documents = Documents(BY_HAND, bench, amplifier, dict(settings or {}))
    files = documents.load()
    if not dry_run:
        require_acknowledgement(files.bench, acknowledged_by(cautions), unattended=False)
    runs = runs_root() if out is None else Path(out)
    return OpenedBench(Session(documents, dry_run, accept, runs, tell, ask), report=report)
