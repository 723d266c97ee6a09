"""All changes of all modules on which a run's safety and verdicts depend, and those known to have no effect."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from queue import SimpleQueue

import yaml

from benchmarks.mutations.changes import Change, changes_of
from benchmarks.mutations.trial import Copy, Fate, Target
from tests.pages import ROOT

_PAGE = "tests/test_safety_page.py"
_SAFE_STATE = (_PAGE, *(f"tests/guard/test_{name}.py" for name in ("carry_out", "crew", "hand_over", "safe_state")))
_GUARD = (_PAGE, *(f"tests/guard/test_{name}.py" for name in ("stopping", "readings", "guard", "hand_over", "places")))
_LIMITS = (
    *(_PAGE, "tests/guard/test_limits.py", "tests/guard/test_rise.py"),
    *("tests/runner/checks/test_blind_spots.py", "tests/guard/test_readings.py"),
)
TARGETS = (
    Target("benchctl.guard.limits", _LIMITS),
    Target("benchctl.guard.states", ("tests/guard/test_states.py",)),
    Target("benchctl.guard.safe_state", _SAFE_STATE),
    Target("benchctl.guard.crew", _SAFE_STATE),
    Target("benchctl.guard.confirmation", _SAFE_STATE),
    Target("benchctl.guard.sampler", (*_GUARD, "tests/guard/test_sampler.py")),
    Target(
        "benchctl.guard.guard", (*_GUARD, "tests/guard/test_read_back.py", "tests/faults/test_supply_protection.py")
    ),
    Target("benchctl.guard.read_back", (_PAGE, "tests/guard/test_read_back.py")),
    Target("benchctl.guard.herald", ("tests/guard/test_herald.py", "tests/guard/test_hand_over.py")),
    Target("benchctl.guard.guardian.guardianship", (_PAGE, "tests/guard/guardian/test_guardianship.py")),
    Target(
        "benchctl.guard.guardian.process",
        (_PAGE, "tests/guard/guardian/test_acting.py", "tests/guard/guardian/test_process.py"),
    ),
    Target("benchctl.guard.guardian.turn", ("tests/guard/guardian/test_turn.py",)),
    Target(
        "benchctl.guard.guardian.wires",
        ("tests/guard/guardian/test_wire_links.py", "tests/guard/guardian/test_wires.py"),
    ),
    Target("benchctl.measure.budget.figure", ("tests/measure/budget/test_figure.py",)),
    Target("benchctl.archive.verdicts", ("tests/archive/test_verdicts.py", "tests/runner/steps/test_named.py")),
    Target("benchctl.measure.search.clean_level", ("tests/measure/search/test_clean_level.py",)),
    Target("benchctl.measure.search.crossing", ("tests/measure/search/test_clean_level.py",)),
    Target("benchctl.runner.steps.power", ("tests/runner/steps/test_power.py", "tests/runner/acting/test_waking.py")),
)
_JUDGED = Path(__file__).with_name("judged.yaml")


@dataclass(frozen=True)
class Trial:
    """A change of a module and its result; `why_harmless` gives the reason if it need not be noticed."""

    target: Target
    change: Change
    fate: Fate
    why_harmless: str = ""

    @property
    def counts_as_noticed(self) -> bool:
        """Whether nothing needs to be done about it."""
        return self.fate is not Fate.UNNOTICED or bool(self.why_harmless)


def judgements() -> dict[tuple[str, str], str]:
    """Why a change is harmless, by module and by the name of the change."""
    entries = yaml.safe_load(_JUDGED.read_text(encoding="utf-8")) or []
    return {(entry["module"], entry["change"]): entry["why"] for entry in entries}


@cache
def changes_in(target: Target) -> tuple[Change, ...]:
    """Every change of a target's module."""
    return tuple(changes_of((ROOT / target.path).read_text(encoding="utf-8")))


def trials(targets: Sequence[Target], folder: Path, jobs: int) -> Iterator[Trial]:
    """Try every change of these modules, `jobs` at a time, and yield each as soon as its result is known."""
    harmless = judgements()
    copies: SimpleQueue[Copy] = SimpleQueue()
    for job in range(jobs):
        (folder / str(job)).mkdir()
        copies.put(Copy(folder / str(job)))

    def trial(target: Target, change: Change, pause_s: float) -> Trial:
        copy = copies.get()
        try:
            fate = copy.try_out(target, change, pause_s)
        finally:
            copies.put(copy)
        return Trial(target, change, fate, harmless.get((target.module, change.what), ""))

    with ThreadPoolExecutor(jobs) as pool:
        try:
            for target in targets:
                pause_s = _longest_pause_s(copies, target)
                waiting = [pool.submit(trial, target, change, pause_s) for change in changes_in(target)]
                for done in as_completed(waiting):
                    yield done.result()
        finally:
            pool.shutdown(cancel_futures=True)  # after Ctrl-C, say
            while not copies.empty():
                copies.get().close()


def _longest_pause_s(copies: SimpleQueue[Copy], target: Target) -> float:
    copy = copies.get()
    try:
        return copy.longest_pause_s(target)
    finally:
        copies.put(copy)
