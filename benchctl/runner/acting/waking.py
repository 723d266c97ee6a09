"""Whether the amplifier woke: one that draws almost nothing has a blown fuse, no turn-on lead, or is dead."""

from __future__ import annotations

from benchctl.quantity import render
from benchctl.runner.acting.contexts import reading_accuracies
from benchctl.runner.acting.run import Run

# Of the idle current that the maker expects; standby takes a thousandth of it, and bias drifts by a half at most
# (common practice).
ASLEEP_PART = 0.1
ADVICE = (
    "Look at the amplifier's fuse, the supply leads and the remote turn-on lead. If it rightly draws so little, say so "
    "in the amplifier file: `least_idle_current`."
)


def why_asleep(run: Run, current_a: float) -> str:
    """What says that the amplifier, which should idle, does not: in words, or nothing where it does.

    Where the supply's own error is so large that it cannot tell one from the other, the journal says so.
    """
    amplifier = run.files.amplifier
    expected_a, least_a = amplifier.idle_current_a, amplifier.least_idle_current_a
    if least_a is None:
        if expected_a is None:
            return ""
        (accuracy,) = reading_accuracies(run.files.bench)["supply_current"]
        least_a = max(ASLEEP_PART * expected_a, accuracy.zero_limit())
        if expected_a - accuracy.limit(expected_a) <= least_a:
            run.note(
                f"it is not possible to say whether the amplifier is awake: it should draw {render(expected_a, 'A')}, "
                f"and the supply's reading may be off by {render(accuracy.limit(expected_a), 'A')}"
            )
            return ""
    if current_a >= least_a:
        return ""
    expected = f" of the {render(expected_a, 'A')} that it should" if expected_a is not None else ""
    return f"the amplifier draws {render(current_a, 'A')}{expected}, less than {render(least_a, 'A')}: it did not wake"
