"""A run that may hang, in a process of its own."""

from __future__ import annotations

import faulthandler
from pathlib import Path

from benchmarks.fault_campaign.trial import Trial, trial

HANGS_AFTER_S = 120
"""A run takes a second; after this time it prints where it hangs and the campaign ends."""


def watched_trial(seed: int, out: Path) -> Trial:
    """A run that hangs ends its process, and says where it hangs."""
    faulthandler.dump_traceback_later(HANGS_AFTER_S, exit=True)
    try:
        return trial(seed, out)
    finally:
        faulthandler.cancel_dump_traceback_later()
