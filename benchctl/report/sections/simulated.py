"""What a page says of simulated instruments: whether the run was one with any, and which they were."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.address import AddressError, NetworkAddress, parse_address
from benchctl.archive.journal.simulation import Simulation
from benchctl.report.reading.run_record import RunRecord


@dataclass(frozen=True)
class Mark:
    """`kind` is what a page calls itself, `title` stands before its title, `lead` and `banner` at its head, `word`
    behind its verdict and `caption` below each picture."""

    kind: str
    title: str
    banner: str
    lead: str = "Simulated figures are not measurements."
    word: str = "simulated"
    caption: str = "Simulated."


_UNKNOWN = Mark(
    kind="Report, no proof of a measurement",
    title="PERHAPS SIMULATED",
    banner="It is not on record whether the instruments of this run were real or simulated.",
    lead="These figures may not be measurements.",
    word="perhaps simulated",
    caption="Perhaps simulated.",
)


_REPLAYED = Mark(
    kind="Replayed run, no measurement",
    title="REPLAYED",
    banner="No instrument was there: all that they said was taken from a recording of another run. The figures are "
    "those of that run, as this version of the program computes them.",
    lead="These figures are no measurement of their own.",
    word="replayed",
    caption="Replayed.",
)


SOME_SIMULATED = Mark(
    kind="Simulated runs among it",
    title="SIMULATED",
    banner="Runs with simulated instruments are among these, or it is not on record whether they were real.",
    caption="Simulated runs among it.",
)


def mark_of(run_record: RunRecord) -> Mark | None:
    """The mark of a run with a simulated instrument, or of one whose journal does not tell; None of a measurement."""
    simulation = run_record.simulation
    if not simulation.is_told:
        return _UNKNOWN
    if not simulation.is_simulated:
        return None
    if simulation.is_replayed:
        return _REPLAYED
    how = "Dry run" if run_record.is_dry else "Simulated run"
    return Mark(f"{how}, no measurement", "DRY RUN" if run_record.is_dry else "SIMULATED", _banner(simulation))


def _banner(simulation: Simulation) -> str:
    if simulation.is_whole:
        return (
            "Every instrument and the amplifier itself were simulated. Nothing on this page says anything of a real "
            "amplifier."
        )
    return (
        f"Simulated were: {simulation.words}. Real were: {', '.join(simulation.real)}. No figure on this page is a "
        "measurement, whichever instrument it comes from."
    )


def mark_of_comparison(runs: Sequence[RunRecord], names: Sequence[str]) -> Mark | None:
    """The mark of a comparison with such runs among it, by their names; None where all were measurements."""
    marks = {name: mark for name, run in zip(names, runs, strict=True) if (mark := mark_of(run)) is not None}
    if not marks:
        return None
    banners = list(dict.fromkeys(mark.banner for mark in marks.values()))
    if len(banners) > 1 or len(marks) < len(runs):
        banners = [f"{name[:1].upper()}{name[1:]}: {mark.banner}" for name, mark in marks.items()]
    banner = " ".join(banners)
    kind, title = "Comparison, simulated runs among it", next(iter(marks.values())).title
    return Mark(kind, title, banner, caption="Simulated runs among it.")


def instruments_in_words(run_record: RunRecord) -> str:
    """Real, simulated, which of them, or that nobody knows."""
    simulation = run_record.simulation
    if not simulation.is_told:
        return "not known whether real or simulated"
    if not simulation.is_simulated:
        return "real"
    if simulation.is_replayed:
        return "none; replayed from a recording"
    return "simulated" if simulation.is_whole else f"simulated: {simulation.words}"


def reached_through_this_computer(run_record: RunRecord) -> list[str]:
    """The instruments that count as real and were reached at an address of the computer itself, with that address: some
    program stands between, and nobody knows from here what stands behind it."""
    if run_record.bench is None:
        return []
    instruments = dict(run_record.bench.instruments.items())
    real = [role for role in run_record.simulation.real if role in instruments]
    return [f"{role}: {instruments[role].address}" for role in real if _is_loopback(instruments[role].address)]


def _is_loopback(address: str) -> bool:
    try:
        parsed = parse_address(address)
    except AddressError:
        return False
    return isinstance(parsed, NetworkAddress) and parsed.is_loopback
