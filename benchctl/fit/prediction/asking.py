"""Predictions from a run folder, and beside them what the run has measured there and was not used."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.fit.examination import Examination, examined, findings_of
from benchctl.fit.prediction.asked import Asked
from benchctl.fit.prediction.beside import Beside, beside, entries_in, predicted_there
from benchctl.fit.prediction.predicting import Prediction, predict
from benchctl.fit.reading.taking import read_run, without_load

Compared = tuple[Prediction, tuple[Beside, ...]]


def ask(
    path: Path, loads: Sequence[float], supply_v: float | None, bursts: Sequence[int], without_ohm: float | None
) -> tuple[Examination, list[Compared]]:
    """Fit the run in a folder, without a load if one is given, and predict into each of the loads.

    Raises:
        UsageError: it is no run folder.
        ArchiveError, DocumentError: it is broken.
    """
    folder = RunFolder.open(path)
    run = read_run(folder)
    found = examined(run if without_ohm is None else without_load(run, without_ohm), findings_of(folder, run))
    volts = run.amplifier.supply.nominal_v if supply_v is None else supply_v

    def one(load_ohm: float) -> Compared:
        if without_ohm is not None and math.isclose(load_ohm, without_ohm, rel_tol=1e-3):
            prediction = predicted_there(found, load_ohm, volts, bursts)
            return prediction, tuple(beside(prediction, entries_in(run, load_ohm, volts)))
        return predict(found, Asked(load_ohm, volts, tuple(bursts))), ()

    return found, [one(load_ohm) for load_ohm in loads]
