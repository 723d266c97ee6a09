"""One run with faults in virtual time, and everything that must be true of how it ended."""

from __future__ import annotations

import shutil
import socket
import time
import traceback
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from benchctl import library
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.journal.events import STEP_BEGINS_ANEW, STEP_GIVEN_UP
from benchctl.archive.journal.journal import Event, read_journal
from benchctl.archive.tables.figures import figure_table, read_figures
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.model.model_base import Source
from benchctl.documents.reader import load_amplifier, read
from benchctl.documents.sequence_file.sequence import Sequence as SequenceFile
from benchctl.errors import BenchctlError
from benchctl.launch.opened import Opened, opened_bench
from benchctl.launch.run import Result, run_on
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchctl.simulator.bench import SimulatedBench
from benchmarks.fault_campaign.drawing import draw_faults
from benchmarks.nobody import Nobody

SEQUENCE = Path(__file__).with_name("short.yaml")

PRESSES = 3
"""A person presses a switch more than once before calling it stuck."""


@dataclass
class Trial:
    """A run with faults: how it ended, and what was wrong with that."""

    seed: int
    faults: Sequence[str]
    exit_code: int = -1
    ending: str = ""
    struck: Mapping[str, int] = field(default_factory=dict)
    left_on: Sequence[str] = ()
    began_anew: int = 0
    violations: list[str] = field(default_factory=list)
    seconds: float = 0.0


def trial(seed: int, out: Path) -> Trial:
    """Draw faults, run the short sequence with them, and check its run folder. Every second run repeats the step that a
    power cycle has interrupted."""
    return trial_of(draw_faults(Random(seed)), out, seed, repeats=seed % 2 == 1)


def trial_of(faults: Sequence[str], out: Path, seed: int = 1, *, repeats: bool = False) -> Trial:
    """Run the short sequence with these faults, lines of a bench file; its run folder is deleted if nothing is
    wrong."""
    done = Trial(seed, faults)
    began = time.perf_counter()
    folder: Path | None = None
    try:
        folder = _run(done, files_with(faults, seed, repeats=repeats), out)
    except BenchctlError as error:
        done.exit_code, done.ending = error.exit_code, f"did not start: {error}"
    except Exception:  # noqa: BLE001 - an error in the program is what is looked for
        done.violations.append(f"traceback:\n{traceback.format_exc()}")
    if folder is not None:
        done.violations += _wrong_with(RunFolder.open(folder), done)
        if not done.violations:
            shutil.rmtree(folder)
    done.seconds = time.perf_counter() - began
    return done


def files_with(faults: Sequence[str], seed: int = 1, *, repeats: bool = False, sequence_file: Path = SEQUENCE) -> Files:
    """The documents of the run: the workshop's bench with these faults, and whether a step `repeats` after a power
    cycle."""
    amplifier = load_amplifier("hx2150")
    lines = sequence_file.read_text(encoding="utf-8") + ("after_power_cycle: repeat the step\n" if repeats else "")
    sequence = read(Source(sequence_file.name, sequence_file, lines), "sequence")
    path = library.find("benches", "workshop")
    text = path.read_text(encoding="utf-8").replace("seed: 2150", f"seed: {seed}")
    text += "".join(["  faults:\n", *(f"    - {fault}\n" for fault in faults)]) if faults else ""
    bench = read(Source("bench with faults", path, text), "bench")
    assert isinstance(bench, Bench)
    assert isinstance(sequence, SequenceFile)
    return Files(sequence, bench, amplifier)


def _run(done: Trial, files: Files, out: Path) -> Path:
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)
    checked.refuse_hazards()
    with opened_bench(files, dry_run=True) as opened:
        try:
            result = run_on(opened, files, checked, Nobody(), out=out)
        finally:
            _look_at_bench(done, opened)
        done.exit_code, done.ending = result.outcome.exit_code, _ending(result)
    return result.folder


def _ending(result: Result) -> str:
    return "finished" if result.outcome.error is None else str(result.outcome.error)


# -- the simulator's own state ----------------------------------------------------------------------------------


def _look_at_bench(done: Trial, opened: Opened) -> None:
    """What is still on, and whether a second client can switch it off; if so, the run should have done it."""
    simulated = opened.simulated
    assert simulated is not None
    done.struck = dict(simulated.faults.struck)
    done.left_on = list(_on(simulated))
    for name in done.left_on:
        _press(simulated, opened, name)
        if name not in _on(simulated):
            done.violations.append(f"{name} was left on, and could be switched off")


def _on(simulated: SimulatedBench) -> Iterator[str]:
    connections = simulated.physical_bench.connections
    if connections.drive.output_on:
        yield "generator"
    for number, output in connections.outputs.items():
        if output.live:
            yield f"supply {number}"
    if connections.closed_relays:
        yield "load"


def _press(simulated: SimulatedBench, opened: Opened, name: str) -> None:
    """Switch off over another link, as a person would who found it on."""
    role, _, number = name.partition(" ")
    words = {"generator": "OUTP OFF", "supply": f"INST:NSEL {number};:OUTP OFF", "load": "ROUT:OPEN:ALL"}[role]
    _, _, host, _, port, *_ = opened.bench.roles[role].session.address.split(":")
    for _ in range(PRESSES):
        with socket.create_connection((host, int(port)), timeout=5.0) as link:
            link.sendall(f"{words}\n".encode())
            simulated.settle()


# -- the run folder ---------------------------------------------------------------------------------------------


def _wrong_with(folder: RunFolder, done: Trial) -> Iterator[str]:
    """Everything in a run folder that is not as promised."""
    journal = read_journal(folder.journal)
    done.began_anew = len(journal.of_kind(STEP_BEGINS_ANEW))
    if journal.torn is not None:
        yield "the journal's last line is torn"
    if not read_figures(folder).equals(figure_table(entries_of(journal.events), run_identity_of(journal.events))):
        yield "figures.csv and the journal differ"
    last = journal.events[-1]
    if last["event"] != "run ended":
        yield f"the journal ends with '{last['event']}'"
        return
    yield from _wrong_with_ending(journal.events, last, done)


def _wrong_with_ending(events: Sequence[Event], last: Event, done: Trial) -> Iterator[str]:
    confirmed = {(each["instrument"], each["part"]): each["confirmed"] for each in last.get("instruments", ())}
    if {instrument for instrument, _ in confirmed} != {"generator", "supply", "load"}:
        yield "the journal's last event does not tell of each instrument whether it confirmed"
    if last["safe"] != all(confirmed.values()):
        yield "the journal calls the bench safe and an instrument unconfirmed"
    expected = _expected_exit_code(events, last)
    if not done.exit_code == last["exit_code"] == expected:
        yield f"exit code {done.exit_code}, {last['exit_code']} in the journal; {expected} is right"
    # An instrument that repeats an old answer may say that an output is off when it is on; the run cannot know.
    honest = [name for name in done.left_on if f"{name.split()[0]}: stale value" not in done.struck]
    if honest and last["safe"]:
        yield f"called safe, with {', '.join(honest)} on"
    if not done.struck and done.exit_code:
        yield f"no fault struck, and yet: {last['reason']}"


def _expected_exit_code(events: Sequence[Event], last: Event) -> int:
    """What the design says: 5 an instrument failed, or did not confirm; 4 a limit tripped; 1 a verdict fails."""
    if not last["safe"]:
        return 5
    if last["reason"] != "finished":
        kinds = [event["event"] for event in events]
        last_part = kinds[len(kinds) - kinds[::-1].index(STEP_GIVEN_UP) :] if STEP_GIVEN_UP in kinds else kinds
        return 4 if "trip" in last_part else 5
    entries = entries_of(events)
    verdicts = {figure.verdict for entry in entries for figure in entry.figures}
    gave_none = any("no_figures" in event for event in events)
    return 1 if gave_none or verdicts & {"fails", "inconclusive"} else 0
