"""What the journal calls the events that somebody reads again: a resumed run, `verify`, a report."""

from __future__ import annotations

from typing import Final

RUN_STARTED: Final = "run started"
RUN_RESUMED: Final = "run resumed"
RUN_ENDED: Final = "run ended"
# The inputs' texts, by name; their hashes stand in "run started", or here where that has none.
INPUTS_KEPT: Final = "inputs kept"
# Inputs that were changed between two parts of a run, and the reason that somebody gave.
INPUTS_ACCEPTED: Final = "inputs accepted"
STEP_STARTED: Final = "step started"
STEP_FINISHED: Final = "step finished"
# A step that was begun and will start again: what it had found by then is no result.
STEP_GIVEN_UP: Final = "step given up"
STEP_BEGINS_ANEW: Final = "step starts again"
FIGURES: Final = "figures"
CAPTURE: Final = "capture"
# The record of the oscilloscope's zeros, and what is needed to tell them from it again.
ZEROS: Final = "zeros"
CLEAN_LEVEL: Final = "clean level"
SEARCH: Final = "search"
HANDS: Final = "hands"
NOTE: Final = "note"
# Something could not be shown on the terminal, or wherever else the output goes: `stream`, `reason`.
OUTPUT_LOST: Final = "output lost"
TRIP: Final = "trip"
SAFE_STATE: Final = "safe state"
# The run ends before its last step: the commands of the safe state are out. `at_s` is when that was decided.
STOPPING: Final = "stopping"
# A part of the safe state that has failed to confirm, or has not within a second.
NOT_YET_CONFIRMED: Final = "not yet confirmed"
# What the files say that nothing watches, and outputs that are seen one after the other, as sentences: `texts`.
NOT_WATCHED: Final = "not watched"
# Outputs that the supply has switched off by itself, over-voltage or over-current, as it says once the bench is safe.
SUPPLY_TRIPPED: Final = "supply protection tripped"
WARNINGS_ACCEPTED: Final = "warnings accepted"
# From here on the run has new links and has been switched on again: what instruments showed before says nothing more.
NEW_PARTS: Final = frozenset({RUN_RESUMED, STEP_BEGINS_ANEW})
# A line that the guardian wrote; `line` counts from 1, and `acted` is the line's own `wall`.
GUARDIAN_ACTED: Final = "guardian acted"
