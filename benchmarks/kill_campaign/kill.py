"""One run, one kill, and an independent look at the outputs."""

from __future__ import annotations

import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchmarks.kill_campaign.blows import Blow
from benchmarks.kill_campaign.resumed import problems_of
from tests.faults.killing import LiveRun, ServedBench, live_run, start, wait_for

SAFE_WITHIN_S = 1.0
# The guardian writes its report when everything is off.
REPORT_WITHIN_S = 10.0
RESUME_WITHIN_S = 600.0


@dataclass(frozen=True)
class Kill:
    """The result of one kill.

    Attributes:
        moment_s: time from the start of the guardians to the hit.
        hit: which processes were hit.
        was_on: the outputs that were on just before the hit.
        safe_after_s: from the last hit until no output was on.
        faults: what is not as promised.
    """

    moment_s: float
    hit: str
    was_on: frozenset[str]
    safe_after_s: float
    faults: tuple[str, ...]


@dataclass(frozen=True)
class Target:
    """What is run and killed; `undisturbed` is the folder of the run that a resumed one is compared with, if any."""

    sequence: str
    amplifier: str
    folder: Path
    undisturbed: RunFolder | None = None

    def kill(self, moment_s: float, blow: Blow, bench: ServedBench) -> Kill:
        """Begin a run, strike `moment_s` after its guardians are ready, and check the result."""
        out = Path(tempfile.mkdtemp(dir=self.folder))
        with live_run(self.sequence, bench.file, self.amplifier, out) as run:
            run.wait_for_event("guardians started")
            _let_run(run, moment_s)
            was_on = frozenset(bench.eyes.on())
            hit, killed_at = blow.name, _struck(blow, run)
            wait_for(lambda: bench.eyes.everything_is_off() or _goes_on(blow, run), "everything off")
            if _goes_on(blow, run):  # so the two guardians that it has now are tested
                hit, killed_at = f"{hit}, one replaced in time; then the run", _struck(Blow("run"), run)
                wait_for(bench.eyes.everything_is_off, "everything off")
            safe_after_s = time.monotonic() - killed_at
            return Kill(moment_s, hit, was_on, safe_after_s, tuple(self._faults(run, bench, safe_after_s)))

    def run_to_its_end(self, bench: ServedBench) -> RunFolder:
        """Run it undisturbed."""
        with live_run(self.sequence, bench.file, self.amplifier, self.folder / "undisturbed") as run:
            exit_code, printed = run.end()
            if run.folder is None or exit_code not in {0, 1}:
                raise RuntimeError(f"the undisturbed run ended with {exit_code}:\n{printed}")
            return run.folder

    def _faults(self, run: LiveRun, bench: ServedBench, safe_after_s: float) -> list[str]:
        faults = []
        if safe_after_s > SAFE_WITHIN_S:
            faults.append(f"safe only after {safe_after_s:.2f} s")
        if run.folder is None:
            return faults
        try:
            wait_for(lambda: _is_told(run), "a word that the bench is safe", REPORT_WITHIN_S)
        except TimeoutError as error:
            faults.append(str(error))
        if run.events("run ended"):
            return faults  # by itself: it ended before the kill, lost its guardians, or got a signal to stop
        if self.undisturbed is not None:
            faults += _faults_of_resuming(run.folder, bench, self.undisturbed)
        return faults


def _struck(blow: Blow, run: LiveRun) -> float:
    """Strike; returns the moment of the last hit, on time.monotonic()."""
    blow.strike(run)
    return time.monotonic()


def _goes_on(blow: Blow, run: LiveRun) -> bool:
    """Whether only guardians were hit, and the run always had one: the first was replaced before the second was hit,
    and both are replaced now."""
    if not blow.spares_the_run or len(run.events("guardian started anew")) < len(blow.members):
        return False
    return not run.events("stopping") and run.process.poll() is None


def _is_told(run: LiveRun) -> bool:
    """Whether a guardian, or the run itself, says that every instrument confirms the safe state."""
    return bool(run.guardian_says("safe")) or any(event["safe"] for event in run.events("run ended"))


def _let_run(run: LiveRun, seconds: float) -> None:
    try:
        run.process.wait(seconds)
    except subprocess.TimeoutExpired:
        return


def _faults_of_resuming(folder: RunFolder, bench: ServedBench, undisturbed: RunFolder) -> list[str]:
    kept = folder.journal.read_bytes()
    process = start(["resume", str(folder.path)], bench.file.parent, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    printed, _ = process.communicate(timeout=RESUME_WITHIN_S)
    if process.returncode not in {0, 1}:
        last = printed.strip().splitlines()[-1:]
        return [f"resume ended with {process.returncode}: {' '.join(last)}"]
    return list(problems_of(folder, kept, undisturbed))
