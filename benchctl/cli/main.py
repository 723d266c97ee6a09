"""The `benchctl` command: a group of commands, and the one place where errors become words and exit codes."""

from __future__ import annotations

import errno
import gc
import os
import sys
import traceback
from collections.abc import Sequence

import click
from click.shell_completion import shell_complete

from benchctl.cli.lazy import CommandEntry, LazyGroup
from benchctl.cli.shown.problems import problem_lines
from benchctl.errors import BenchctlError, DocumentError, PreflightRefused
from benchctl.outlet import lost_outputs, outputs_that_never_fail

# What an error in the program itself counts as: whatever was asked for has failed.
FAULT_EXIT_CODE = 5

# How often Python looks for objects that keep each other alive: few come about here, and to look through all that is
# imported and read as often as it does by itself takes a twentieth of the time of a dry run.
COLLECTED_AFTER = (50_000, 5, 5)

# Set by a shell that asks what a word may be completed to.
COMPLETE_VARIABLE = "_BENCHCTL_COMPLETE"

_EPILOG = """\b
Exit codes:
  0  finished, every verdict passes       4  a limit tripped
  1  finished, a verdict does not pass    5  an instrument failed
  2  a document or an option is wrong     6  the operator stopped it
  3  preflight refuses

\b
Try it without a bench:
  benchctl run quick_check --bench workshop --amplifier hx2150 --dry-run
"""


@click.group(
    cls=LazyGroup,
    epilog=_EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
    entries={
        "check": CommandEntry(
            "benchctl.cli.commands.check:check", "Say what a file describes, or what is wrong in it, at which line."
        ),
        "instruments": CommandEntry(
            "benchctl.cli.commands.instruments:instruments",
            "List the instruments that answer, say hello to those of a bench file, or try their driver files.",
        ),
        "preflight": CommandEntry(
            "benchctl.cli.commands.preflight:preflight", "Show what a run would do, and every hazard."
        ),
        "run": CommandEntry("benchctl.cli.commands.run:run", "Run a sequence on an amplifier, real or dry."),
        "manual": CommandEntry(
            "benchctl.cli.commands.manual:manual", "Drive an amplifier by hand with keys, under the guard of a run."
        ),
        "calibrate": CommandEntry(
            "benchctl.cli.commands.calibrate:calibrate",
            "Measure load resistors, probes, clamp and supply leads, and write a calibration file.",
        ),
        "resume": CommandEntry("benchctl.cli.commands.resume:resume", "Go on with a run that ended early."),
        "replay": CommandEntry(
            "benchctl.cli.commands.replay:replay", "Run a recorded run again, without its instruments."
        ),
        "simulate": CommandEntry(
            "benchctl.cli.commands.simulate:simulate", "Serve simulated instruments in real time."
        ),
        "safe": CommandEntry("benchctl.cli.commands.safe:safe", "Put the bench into the safe state now."),
        "safety": CommandEntry(
            "benchctl.cli.commands.safety:safety", "Show the safety page: read it before the first live run."
        ),
        "new": CommandEntry("benchctl.cli.commands.new:new", "Write a commented file to start from."),
        "schema": CommandEntry("benchctl.cli.commands.schema:schema", "Print the JSON Schema of a kind of document."),
        "report": CommandEntry(
            "benchctl.cli.commands.report:report", "Make the page of a run, with pictures and tables."
        ),
        "export": CommandEntry(
            "benchctl.cli.commands.export:export", "Write runs as Parquet, CSV, sound files in volts, or JUnit XML."
        ),
        "publish": CommandEntry("benchctl.cli.commands.publish:publish", "Make a site of all runs below a folder."),
        "note": CommandEntry("benchctl.cli.commands.note:note", "Add a note to a run, with photographs."),
        "unit": CommandEntry(
            "benchctl.cli.commands.unit:unit",
            "Show all runs of one unit, by its serial number: what changed, what was repaired, its figures over time.",
        ),
        "drift": CommandEntry(
            "benchctl.cli.commands.drift:drift",
            "Show whether a bench has drifted: a control chart of each zero, gain and reference figure, as a page.",
        ),
        "list": CommandEntry("benchctl.cli.commands.list:list_", "List the runs in a folder, the newest last."),
        "latest": CommandEntry("benchctl.cli.commands.latest:latest", "Print the folder of the newest run."),
        "find": CommandEntry("benchctl.cli.commands.find:find", "Find runs with a figure that meets a condition."),
        "budget": CommandEntry(
            "benchctl.cli.commands.budget:budget",
            "Show what a figure's uncertainty is made of, the largest part first.",
        ),
        "fit": CommandEntry(
            "benchctl.cli.commands.fit:fit",
            "Tell what aged or failed, and what a run says of the amplifier's rails, converter and outputs.",
        ),
        "predict": CommandEntry(
            "benchctl.cli.commands.predict:predict", "Predict power, supply current and efficiency in another load."
        ),
        "verify": CommandEntry("benchctl.cli.commands.verify:verify", "Compute every figure of a run again."),
        "reanalyse": CommandEntry(
            "benchctl.cli.commands.reanalyse:reanalyse_command",
            "Compute all figures of many runs again, by the method of today.",
        ),
    },
)
@click.version_option(package_name="benchctl")
def cli() -> None:
    """Unattended, safe power tests of vehicle audio power amplifiers.

    A run takes three files: a sequence (what to do), a bench file (your instruments and what is wired to what) and an
    amplifier file (its rating plate and what it bears). Give each as a path, or by the name of a shipped one.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit with the outcome's code, even if its output cannot be shown."""
    if asked := os.environ.get(COMPLETE_VARIABLE):
        sys.exit(shell_complete(cli, {}, "benchctl", COMPLETE_VARIABLE, asked))
    gc.set_threshold(*COLLECTED_AFTER)
    with outputs_that_never_fail():
        exit_code = _exit_code(arguments)
        _tell_of_lost_outputs()
    sys.exit(exit_code)


def _exit_code(arguments: Sequence[str] | None) -> int:
    try:
        outcome = cli.main(arguments, standalone_mode=False)
    except BenchctlError as error:
        tell(error)
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped by the operator.", err=True)
        return 6
    except (Exception, SystemExit):  # noqa: BLE001 - Python's own exit code of 1 would say that a run had finished
        traceback.print_exc()
        click.echo("This is an error in benchctl itself. Check that the bench is safe: benchctl safe.", err=True)
        return FAULT_EXIT_CODE
    return outcome if isinstance(outcome, int) else 0


def _tell_of_lost_outputs() -> None:
    """Say on the other stream what could not be shown on one. Nothing is said if the reader of a pipe has closed it."""
    for stream, reason in lost_outputs().items():
        if reason != os.strerror(errno.EPIPE):
            click.echo(f"Warning: {stream} could not be shown whole: {reason}.", err=stream == "standard output")


def tell(error: BenchctlError) -> None:
    """Say what happened and what to do about it."""
    if isinstance(error, PreflightRefused):
        click.echo("Preflight refuses; nothing was energised:", err=True)
        for hazard in error.hazards:
            click.echo(f"  - {hazard}", err=True)
        return
    if isinstance(error, DocumentError):
        for problem in error.problems:
            click.echo("\n".join(problem_lines(problem)), err=True)
        return
    click.echo(error.message if error.message.count("\n") else str(error), err=True)
    if error.advice:
        click.echo(error.advice, err=True)
