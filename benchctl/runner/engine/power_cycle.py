"""If an instrument was switched off and on during a step: whether the step starts again when the bench is safe.

A power cycle first looks like a lost link, and the instrument needs time to start. So if the sequence asks for steps to
be repeated and a step ended because an instrument failed, that instrument is waited for while the bench is safe. If it
comes back with its settings, it has not lost its power, and the run ends.
"""

from __future__ import annotations

from collections.abc import Collection

from benchctl.archive.journal.journal import read_journal
from benchctl.errors import BenchctlError, InstrumentError, LimitTripped
from benchctl.guard.states import State
from benchctl.instruments.bench import Bench
from benchctl.runner.acting.run import Run
from benchctl.runner.engine.progress import Attempt, attempt_under_way

# A step that was interrupted this often is not started a third time: somebody must check the mains.
REPEATS_A_STEP = 2
# An oscilloscope starts up for a minute or more (common practice).
RETURN_S = 120.0
LOOK_EVERY_S = 2.0


def gives_up_step(run: Run, error: BenchctlError | None) -> bool:
    """Whether the step that was under way starts again. If so, the journal says so, and that what it found is not a
    result.

    Args:
        run: with the bench in the safe state, as far as the instruments confirm that.
        error: why the run was stopped.

    Raises:
        ArchiveError: the journal cannot be read or written.
    """
    if run.files.sequence.after_power_cycle == "end the run" or not _may_be_power_cycle(error):
        return False
    attempt = attempt_under_way(read_journal(run.recorder.folder.journal).events)
    if attempt is None or not (restarted := _wait_for_return(run)):
        return False
    names = " and ".join(restarted)
    if attempt.given_up_before >= REPEATS_A_STEP:
        run.note(f"{names} lost power; {attempt.label} was started again {REPEATS_A_STEP} times already and is no more")
        return False
    _give_up(run, attempt, restarted, error)
    run.note(f"{names} lost power: the bench is safe and is set up again, and {attempt.label} starts again")
    return True


def _may_be_power_cycle(error: BenchctlError | None) -> bool:
    """Whether this may be a power cycle. A limit that was passed is not; a signal that could not be read may be."""
    return isinstance(error, InstrumentError) or (isinstance(error, LimitTripped) and error.value is None)


def _give_up(run: Run, attempt: Attempt, restarted: Collection[str], error: BenchctlError | None) -> None:
    run.recorder.give_up(
        attempt.label,
        attempt.findings,
        index=attempt.index,
        reason=str(error),
        lost_power=list(restarted),
        times=attempt.given_up_before + 1,
    )


def _wait_for_return(run: Run) -> list[str]:
    """The instruments that lost their power, when all of them answer and confirm the safe state; otherwise none."""
    away = list(run.bench.roles)
    deadline_s = run.clock.now() + RETURN_S
    is_told = False
    while True:
        away = _still_away(run.bench, away)
        _confirm_again(run, away)
        if not away:
            return _restarted(run.bench) if run.guard.state is State.SAFE else []
        if run.clock.now() >= deadline_s or run.interlock.operator_stop is not None or run.guard.is_hurried:
            return []
        if not is_told:
            is_told = True
            _tell_of_waiting(run, away)
        run.clock.sleep(LOOK_EVERY_S)


def _still_away(bench: Bench, away: Collection[str]) -> list[str]:
    return [name for name in away if not _answers(bench, name)]


def _answers(bench: Bench, name: str) -> bool:
    try:
        bench.roles[name].session.look_for_power_cycle()
    except InstrumentError:
        return False
    return True


def _restarted(bench: Bench) -> list[str]:
    return [name for name, role in bench.roles.items() if role.session.has_lost_settings]


def _confirm_again(run: Run, away: Collection[str]) -> None:
    """Ask again each part that has not confirmed, once its instrument answers. An instrument may switch its output on
    when it starts.
    """
    missing = {each.instrument for each in run.guard.confirmations if not each.confirmed}
    if missing.difference(away):
        run.guard.try_again()


def _tell_of_waiting(run: Run, away: Collection[str]) -> None:
    for each in run.guard.confirmations:
        if not each.confirmed:
            run.note(f"NOT SAFE: {each}. By hand, now: {each.by_hand}.")
    run.note(f"{' and '.join(away)} cannot be reached: waiting up to {RETURN_S:.0f} s for a start-up")
