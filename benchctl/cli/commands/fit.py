"""benchctl fit: what aged or failed, and what a run tells of the amplifier's rails, converter and outputs."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchctl.cli.completing import complete_run
from benchctl.cli.options import earlier_meant, json_option, of_run_folder

if TYPE_CHECKING:
    from benchctl.fit.examination import Examination


@click.command(
    epilog="""\b
Examples:
  benchctl fit runs/20261124-221003-burst-and-continuous-power-at-1-khz-hx-2150
  benchctl fit runs/20261124-221003-before-and-after-hx-2150 --before runs/20251102-101500-before-and-after-hx-2150
  benchctl fit latest --before latest"""
)
@of_run_folder()
@click.option(
    "--before",
    metavar="RUN_FOLDER",
    shell_complete=complete_run,
    help="An earlier run of the same unit: also tell what has changed since. With 'latest' or its serial number, its "
    "newest run before this one, by the same sequence.",
)
@click.option(
    "--keep",
    is_flag=True,
    help="Also keep the diagnosis in a file beside the run folder; the owner's sheet and comparisons then show it.",
)
@click.option(
    "--write-to",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="AMPLIFIER_FILE",
    help="Add what is told to the amplifier file, as its part 'fitted'; nothing that stands there is changed.",
)
@click.option(
    "--next",
    "asked",
    metavar="QUANTITY",
    help="Only tell which further step on this bench would tell most of a quantity, such as 'reservoir', for its "
    "minutes and its heat.",
)
@click.option(
    "--write-next",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="With --next: write a sequence with that step, and with all that a fit needs besides, to a new file.",
)
@json_option
def fit(
    run_folder: Path,
    before: str | None,
    write_to: Path | None,
    asked: str | None,
    write_next: Path | None,
    *,
    keep: bool,
    as_json: bool,
) -> int:
    """Tell what aged or failed, and what a run says of the amplifier's rails, converter and outputs.

    First comes a diagnosis: what aged or failed, the strongest evidence first, what it could be confused with and what
    would decide. Silence, a missing half wave, dc, gain, idle current, a joint that opens when it is warm and a weak
    rail need no model. Then a model of the amplifier is fitted to the bursts, continuous tones and idles of the run.
    Each quantity is told with its uncertainty (k = 2), or as untold with the reason. What does not fit is said too.

    Exit code 1: nothing could be fitted, or the fit has not converged.
    """
    if write_next is not None and asked is None:
        raise click.UsageError("--write-next needs --next QUANTITY")
    # Its matrices are small, and threads that wait for each other on a busy computer take longer than one does.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Heavy, and `--help` needs none of it.
    from benchctl.archive.folder import RunFolder  # noqa: PLC0415
    from benchctl.cli.shown.diagnosis import diagnosis_as_data  # noqa: PLC0415
    from benchctl.cli.shown.fit import as_data, in_words  # noqa: PLC0415
    from benchctl.fit.diagnosis.kept import keep_diagnosis  # noqa: PLC0415
    from benchctl.fit.examination import examine  # noqa: PLC0415

    found = examine(run_folder)
    if asked is not None:
        return _tell_next(found, run_folder, asked, write_next, as_json=as_json)
    earlier = None if before is None else examine(earlier_meant(before, run_folder, as_json))
    if keep:
        told = diagnosis_as_data(found, earlier)
        path = keep_diagnosis(RunFolder.open(run_folder), "" if earlier is None else earlier.run.name, told)
        click.echo(f"Diagnosis kept in {path}", err=True)
    click.echo(json.dumps(as_data(found, earlier), indent=2) if as_json else in_words(found, earlier))
    if write_to is not None:
        from benchctl.fit.twin.writing import write_twin  # noqa: PLC0415

        added = write_twin(found, write_to)
        click.echo("\n".join((f"Added to {write_to}:", *added)), err=as_json)
    return 1 if found.no_fit else 0


def _tell_next(found: Examination, run_folder: Path, asked: str, write_next: Path | None, *, as_json: bool) -> int:
    from benchctl.cli.shown.further import further_as_data, further_in_words, write_further  # noqa: PLC0415
    from benchctl.further.advice import advise  # noqa: PLC0415

    advice = advise(run_folder, found, asked)
    click.echo(json.dumps(further_as_data(advice), indent=2) if as_json else further_in_words(found, advice))
    if write_next is not None:
        click.echo(write_further(advice, write_next), err=as_json)
    return 0
