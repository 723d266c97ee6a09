"""One run in which one instrument is wrong by a factor, and what happened to the figures that depend on it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.journal.events import CLEAN_LEVEL
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.verify import verify
from benchctl.launch.opened import opened_bench
from benchctl.launch.run import run_on
from benchctl.measure.agreement.reliance import HEATSINK, OUTPUT_VOLTAGE, RELIES_ON, SUPPLY_CURRENT, SUPPLY_VOLTAGE
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchmarks.fault_campaign.trial import files_with
from benchmarks.nobody import Nobody

HERE = Path(__file__).parent
SHORT, LONG = HERE / "short.yaml", HERE / "long.yaml"
FACTORS = (0.5, 2.0, 10.0, -1.0, 0.0)

# What is wrong -> what its figures depend on. A level has no sign, so no factor of -1.
SEEN_BY_TWO = {
    ("supply", "current"): SUPPLY_CURRENT,
    ("supply", "voltage"): SUPPLY_VOLTAGE,
    ("oscilloscope", "supply current"): SUPPLY_CURRENT,
    ("oscilloscope", "supply voltage"): SUPPLY_VOLTAGE,
    ("oscilloscope", "output A"): OUTPUT_VOLTAGE,
    ("oscilloscope", "output B"): OUTPUT_VOLTAGE,
    ("generator", "level"): OUTPUT_VOLTAGE,
}


@dataclass(frozen=True)
class Case:
    """What an instrument shows wrongly, and by which factor; `rests` names the quantity whose figures become wrong.

    `channel`: the amplifier's channel, if only one is wrong. `is_harmless`: no figure with a verdict changes.
    `at_high_power`: it is visible only there.
    """

    name: str
    fault: str
    rests: str
    sequence: Path = SHORT
    channel: str = ""
    is_harmless: bool = False
    at_high_power: bool = False


@dataclass(frozen=True)
class Ended:
    """How the run went: what it said, which verdicts it gave to figures that depend on the wrong value, and whether it
    had searched for full power by then."""

    case: Case
    exit_code: int
    said: str
    verdicts: tuple[str, ...]
    was_driven_hard: bool
    verifies: bool

    def violations(self) -> Iterator[str]:
        """What was not as promised."""
        if not self.verifies:
            yield "verify does not come to the same"
        if self.case.is_harmless:
            if self.exit_code:
                yield f"stopped for nothing: {self.said}"
            return
        if given := [verdict for verdict in self.verdicts if verdict in {"passes", "fails"}]:
            yield f"verdicts on what is wrong: {', '.join(given)}"
        if not self.exit_code:
            yield "the run said that all is well"
        if self.was_driven_hard and not self.case.at_high_power:
            yield "driven hard before anything was noticed"


def cases() -> Iterator[Case]:
    """Each quantity that two instruments see, with each factor; one record for all channels; a thermometer that does
    not follow the heat."""
    for (instrument, what), rests in SEEN_BY_TWO.items():
        for factor in FACTORS:
            if (instrument, factor) != ("generator", -1.0):
                # A reversed probe: power, distortion and the size of an offset stay the same.
                is_harmless = rests == OUTPUT_VOLTAGE and factor == -1.0
                name, fault = f"{instrument}: {what} x {factor:g}", wrong(instrument, what, factor)
                channel = what.removeprefix("output ") if what.startswith("output ") else ""
                yield Case(name, fault, rests, channel=channel, is_harmless=is_harmless)
    one = "{kind: one channel for all, at: 0 s, channel: 1}"
    yield Case("oscilloscope: one channel for all", one, OUTPUT_VOLTAGE)
    late = "{kind: wrong by a factor, instrument: supply, of: current, factor: 0.5, at: 7.5 s}"
    yield Case("supply: current x 0.5 under load only", late, SUPPLY_CURRENT, at_high_power=True)
    stuck = "{kind: sensor stuck, at: 0 s}"
    yield Case("thermometer: stuck", stuck, HEATSINK, sequence=LONG, at_high_power=True)
    for factor in (-1.0, 0.0):
        fault = wrong("thermometer", "heatsink", factor)
        yield Case(f"thermometer: heatsink x {factor:g}", fault, HEATSINK, sequence=LONG, at_high_power=True)


def wrong(instrument: str, what: str, factor: float) -> str:
    """The line of a bench file."""
    return f"{{kind: wrong by a factor, instrument: {instrument}, of: {what}, factor: {factor:g}, at: 0 s}}"


def trial(case: Case, out: Path) -> Ended:
    """Run it dry, and check its run folder."""
    files = files_with([case.fault], sequence_file=case.sequence)
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)
    checked.refuse_hazards()
    with opened_bench(files, dry_run=True) as opened:
        result = run_on(opened, files, checked, Nobody(), out=out)
    events = read_journal(result.folder / "journal.jsonl").events
    figures = _resting(result.outcome.figures, case)
    return Ended(
        case,
        result.outcome.exit_code,
        str(result.outcome.error or "; ".join({figure.contradiction for figure in figures if figure.contradiction})),
        tuple(figure.verdict for figure in figures if figure.verdict),
        any(event["event"] == CLEAN_LEVEL or event.get("analysis") == "soak" for event in events),
        verify(result.folder).agrees,
    )


def _resting(figures: Sequence[Figure], case: Case) -> list[Figure]:
    names = RELIES_ON[case.rests] or frozenset()
    channels = {"", TOTAL, case.channel} if case.channel else None
    return [figure for figure in figures if figure.name in names and (not channels or figure.channel in channels)]
