"""Which run a row of figures.csv is of, so that the tables of several runs can be put together."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from benchctl.archive.folder import slug
from benchctl.archive.journal.events import RUN_STARTED
from benchctl.archive.journal.simulation import simulation_of


@dataclass(frozen=True)
class RunIdentity:
    """`run` identifies the run; `simulated` says whether any of its instruments was simulated. What an older run did
    not keep is empty, or None."""

    run: str = ""
    amplifier: str = ""
    serial: str = ""
    simulated: bool | None = None

    def cells(self) -> dict[str, object]:
        """The values as columns of figures.csv, by name; spreadsheets and pandas read `true` and `false`."""
        simulated = "" if self.simulated is None else str(self.simulated).lower()
        return {"run": self.run, "amplifier": self.amplifier, "serial": self.serial, "simulated": simulated}


def run_identity_of(events: Sequence[Mapping[str, Any]]) -> RunIdentity:
    """The identity, from the events that begin the parts of the run."""
    began: Mapping[str, Any] = next((event for event in events if event["event"] == RUN_STARTED), {})
    names = {name: began.get(name, "") for name in ("run", "amplifier", "serial")}
    return RunIdentity(**names, simulated=simulation_of(events).is_simulated)


def dry_run_name(title: str, inputs: Mapping[str, str], settings: Mapping[str, str]) -> str:
    """The same dry run always gives the same result, so its name follows from its inputs, not from the time.

    Args:
        title: of the sequence.
        inputs: each file that is kept -> its hash.
        settings: parameters as they were set.
    """
    digest = sha256(json.dumps([dict(inputs), dict(settings)], sort_keys=True).encode()).hexdigest()
    return f"dry-{slug(title)}-{digest[:12]}"
