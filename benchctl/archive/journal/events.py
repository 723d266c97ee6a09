"""The names of the journal's events that are read again: by a resumed run, `verify` or a report."""

from __future__ import annotations

from typing import Final

RUN_STARTED: Final = "run started"
RUN_RESUMED: Final = "run resumed"
RUN_ENDED: Final = "run ended"
# The inputs' texts, by name; their hashes are in "run started", or here if that has none.
INPUTS_KEPT: Final = "inputs kept"
# Inputs that were changed between two parts of a run, and the reason given.
INPUTS_ACCEPTED: Final = "inputs accepted"
STEP_STARTED: Final = "step started"
STEP_FINISHED: Final = "step finished"
# A step that was begun and will start again: its figures so far are not results.
STEP_GIVEN_UP: Final = "step given up"
STEP_BEGINS_ANEW: Final = "step begins anew"
FIGURES: Final = "figures"
CAPTURE: Final = "capture"
# The record of the oscilloscope's zeros, and what is needed to tell them from it again.
ZEROS: Final = "zeros"
CLEAN_LEVEL: Final = "clean level"
SEARCH: Final = "search"
HANDS: Final = "hands"
NOTE: Final = "note"
# `written_by` of a note: a person; a note without it is the program's own.
BY_A_PERSON: Final = "person"
# Something could not be written to the terminal or to another output: `stream`, `reason`.
OUTPUT_LOST: Final = "output lost"
TRIP: Final = "trip"
SAFE_STATE: Final = "safe state"
# The run ends before its last step: the safe state's commands were sent. `at_s` is when that was decided.
STOPPING: Final = "stopping"
# A part of the safe state that failed to confirm, or did not confirm within a second.
NOT_YET_CONFIRMED: Final = "not yet confirmed"
# Stated values that nothing watches, and outputs that are read one after the other, as sentences: `texts`.
NOT_WATCHED: Final = "not watched"
# Outputs that the supply switched off by itself (over-voltage, over-current), read once the bench is safe.
SUPPLY_TRIPPED: Final = "supply protection tripped"
WARNINGS_ACCEPTED: Final = "warnings accepted"
# From here on the run has new links and was switched on again: earlier readings are no longer valid.
NEW_PARTS: Final = frozenset({RUN_RESUMED, STEP_BEGINS_ANEW})
# A line that the guardian wrote; `line` counts from 1, and `acted` is the `wall` of that line.
GUARDIAN_ACTED: Final = "guardian acted"
# Nothing more was kept of the traffic from some time on: `reason`.
RECORDING_ENDED: Final = "recording ended"
# Figures of a step held against what the amplifier file's `fitted:` part lets expect: `rows`, `not_predicted`.
HELD_AGAINST_FIT: Final = "held against the fit"
