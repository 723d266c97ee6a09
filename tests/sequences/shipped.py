"""Which shipped sequences a bench without anything special can run."""

from __future__ import annotations

from benchctl import library
from benchctl.documents.reader import load_sequence

# Those that bridge outputs need a bench that is wired for it; tests/launch/test_bridged.py runs them.
# The one that needs a multimeter runs in test_on_other_benches.py, on the bench that has one.
AT_POINTS = "bias_and_rails"
SEQUENCES = tuple(
    name for name in library.shipped("sequences") if load_sequence(name).bridged is None and name != AT_POINTS
)
