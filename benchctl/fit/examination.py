"""A run examined: the evidence that needs no model, then the fit, and both in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.errors import MeasurementError
from benchctl.fit.evidence import Finding, Kind, evidence
from benchctl.fit.fitting import Fitted, Misfit, fit
from benchctl.fit.heat.telling import heat_quantities
from benchctl.fit.reading.glances import glances_of
from benchctl.fit.reading.taking import RunTaken, read_run
from benchctl.fit.told import Quantity, quantities
from benchctl.fit.uneven import Unlike, uneven_rails, unlike_rails
from benchctl.fit.unseen import Unseen, unseen

TAKEN_AS_ONE = "one rail is weaker than the other, and the model takes both as one"

NOT_IN_MODEL: Mapping[Kind, str] = {
    "weak rail": TAKEN_AS_ONE,
    "half wave": "an output lacks a half wave, and the model has whole outputs only",
}
"""Findings with which nothing is fitted, and why."""


@dataclass(frozen=True)
class Examination:
    """What one run tells of its amplifier.

    Attributes:
        findings: what is told without a model.
        unseen: what could not be looked for without a model.
        fitted: None where there was nothing to fit; `no_fit` says why.
        unlike: by how much one rail is lower than the other; None where nothing tells it.
        quantities: what the fit tells, none where it has not converged, for its values are those of a way half gone;
            and what the course of the heatsink's temperature tells, which needs no fit.
    """

    run: RunTaken
    findings: tuple[Finding, ...]
    unseen: tuple[Unseen, ...]
    fitted: Fitted | None
    quantities: tuple[Quantity, ...]
    no_fit: str
    unlike: Unlike | None = None

    @property
    def left_out(self) -> tuple[Misfit, ...]:
        """Items that stood out so far that they were left out."""
        return () if self.fitted is None else self.fitted.left_out

    @property
    def misfits(self) -> tuple[Misfit, ...]:
        """Items that the model does not explain within chance, the worst first."""
        found = () if self.fitted is None else self.fitted.misfits
        beyond = [misfit for misfit in found if misfit.is_beyond_chance]
        return tuple(sorted(beyond, key=lambda misfit: -misfit.mean_square))


def examine(path: Path) -> Examination:
    """Examine the run in a folder.

    Raises:
        UsageError: it is no run folder.
        ArchiveError, DocumentError: it is broken.
    """
    folder = RunFolder.open(path)
    run = read_run(folder)
    not_seen = tuple(unseen(run.amplifier, run.takes, tuple(glances_of(folder, run.events))))
    found = examined(run, findings_of(folder, run), not_seen)
    heat = heat_quantities(folder, run, _path_of(found))
    return replace(found, quantities=(*found.quantities, *heat), unlike=unlike_rails(run.amplifier, run.takes))


def _path_of(found: Examination) -> tuple[float, float] | None:
    """Of supply and leads, with its standard uncertainty, where the fit tells it."""
    if found.fitted is None or found.no_fit:
        return None
    path_ohm, u_ohm = found.fitted.path_ohm
    return (path_ohm, u_ohm) if 2.0 * u_ohm < path_ohm else None


def findings_of(folder: RunFolder, run: RunTaken) -> tuple[Finding, ...]:
    """What is told without a model."""
    glances = tuple(glances_of(folder, run.events))
    return (*evidence(run.amplifier, run.takes, glances, run.entries), *uneven_rails(run.amplifier, run.takes))


def examined(run: RunTaken, findings: tuple[Finding, ...] = (), not_seen: tuple[Unseen, ...] = ()) -> Examination:
    """The fit of a run, or of a part of it; none of unlike rails, of which one value would say nothing."""
    for finding in findings:
        if finding.kind in NOT_IN_MODEL:
            return Examination(run, findings, not_seen, None, (), NOT_IN_MODEL[finding.kind])
    try:
        fitted = fit(run)
    except MeasurementError as error:
        return Examination(run, findings, not_seen, None, (), str(error))
    if not fitted.solution.has_converged:
        reason = "the fit has not converged, so nothing of it is told"
        return Examination(run, findings, not_seen, fitted, (), reason)
    return Examination(run, findings, not_seen, fitted, quantities(fitted), "")
