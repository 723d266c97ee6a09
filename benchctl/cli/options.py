"""Options that several commands share."""

from __future__ import annotations

import functools
import os
import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from benchctl.cli.completing import LATEST, complete_document, complete_run
from benchctl.library import RUNS_VARIABLE, runs_root

if TYPE_CHECKING:
    from benchctl.archive.collection.naming import Named

_Outcome = TypeVar("_Outcome")

bench_option = click.option(
    "--bench",
    "-b",
    required=True,
    metavar="BENCH",
    help="Bench file: a path or a shipped name.",
    shell_complete=lambda _context, _option, begun: complete_document("bench", begun),
)
amplifier_option = click.option(
    "--amplifier",
    "-a",
    required=True,
    metavar="AMPLIFIER",
    help="Amplifier file: a path or a shipped name.",
    shell_complete=lambda _context, _option, begun: complete_document("amplifier", begun),
)
runs_made_option = click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("runs"),
    envvar=RUNS_VARIABLE,
    show_default=True,
    help="Where run folders are made.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Machine-readable output.")
unattended_option = click.option(
    "--unattended", is_flag=True, help="Nobody is present: refuse every step that needs hands."
)


def reason(_context: click.Context, _option: click.Parameter, written: str | None) -> str:
    """The reason why a person goes on. It is read in the run folder, so it must not be empty."""
    if written is not None and not any(map(str.isalnum, written)):
        raise click.BadParameter("no reason is given; write why the run may go on, such as 'the resistors are in oil'")
    return (written or "").strip()


accept_option = click.option(
    "--accept",
    "accepted",
    callback=reason,
    metavar="REASON",
    help="Go on in spite of preflight's warnings; the reason is kept with the run. Hazards are refused all the same.",
)

accept_changes_option = click.option(
    "--accept",
    "accepted",
    callback=reason,
    metavar="REASON",
    help="Go on although inputs were changed after the run began; the reason and the change are kept with the run.",
)


def _settings(_context: click.Context, _option: click.Parameter, written: tuple[str, ...]) -> dict[str, str]:
    pairs = [setting.partition("=") for setting in written]
    for name, equals, value in pairs:
        if not (name and equals and value):
            raise click.BadParameter(f"'{name}{equals}{value}' sets nothing; write for example supply=13.8V")
    return {name.strip(): value.strip() for name, _, value in pairs}


set_option = click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    callback=_settings,
    help="Set a parameter that the sequence declares, such as supply=13.8V.",
)


def of_a_run(command: Callable[..., int]) -> Callable[..., int]:
    """The three documents of a run and the parameters set for it, as `documents`."""

    @functools.wraps(command)
    def with_documents(sequence: str, bench: str, amplifier: str, settings: Mapping[str, str], **others: Any) -> int:
        from benchctl.launch.run import Documents  # noqa: PLC0415 - heavy, and other commands share these options

        return command(documents=Documents(sequence, bench, amplifier, settings), **others)

    argument = click.argument(
        "sequence",
        metavar="SEQUENCE",
        shell_complete=lambda _context, _argument, begun: complete_document("sequence", begun),
    )
    return argument(bench_option(amplifier_option(set_option(with_documents))))


def spread_options(command: Callable[..., _Outcome]) -> Callable[..., _Outcome]:
    """Who does work that many can do at once, as `workers` and `scheduler`."""
    workers = click.option(
        "--workers",
        type=click.IntRange(min=1),
        metavar="N",
        help="Processes at work here at once; as many as there are processors, unless given.",
    )
    scheduler = click.option(
        "--scheduler",
        default="",
        metavar="ADDRESS",
        help="Let the workers of a Dask cluster do it, such as tcp://192.0.2.7:8786. It needs benchctl[cluster]. "
        "Whoever reaches a scheduler's port can run any program on its workers.",
    )
    return workers(scheduler(command))


def of_run_folder(
    name: str = "run_folder", *, metavar: str = "RUN_FOLDER", several: bool = False
) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """An argument that is a run folder: a path, a name in the folder of runs, `latest`, or a serial number, which is
    the unit's newest run. The command is given the path."""

    def decorated(command: Callable[..., int]) -> Callable[..., int]:
        @functools.wraps(command)
        def with_folder(**given: Any) -> int:
            word = given[name]
            beside = bool(given.get("as_json"))
            given[name] = tuple(folder_meant(each, beside) for each in word) if several else folder_meant(word, beside)
            return command(**given)

        return click.argument(
            name, metavar=metavar, nargs=-1 if several else 1, required=True, shell_complete=complete_run
        )(with_folder)

    return decorated


def folder_meant(word: str, beside: bool) -> Path:
    """The run folder that a word on the command line means. A path that is there comes first. Which run was taken for
    `latest` or a serial number is said.

    Args:
        word: as it was typed.
        beside: say it on standard error, where standard output is for a program.

    Raises:
        UsageError: it means none, or more than one unit.
    """
    if (folder := _folder_named(word)) is not None:
        return folder
    from benchctl.archive.collection.naming import run_named  # noqa: PLC0415 - few words need an index

    return _told(run_named(word, runs_root()), "Latest run" if word == LATEST else "Newest run of this unit", beside)


def earlier_meant(word: str, run: Path, beside: bool) -> Path:
    """The same of an earlier run of the unit that was tested in `run`: for `latest` or a serial number its newest run
    before that one, by the same sequence.

    Raises:
        UsageError: it means none.
    """
    if (folder := _folder_named(word)) is not None:
        return folder
    from benchctl.archive.collection.naming import run_before  # noqa: PLC0415 - few words need an index

    return _told(run_before(word, run, runs_root()), "Earlier run of this unit", beside)


def _folder_named(word: str) -> Path | None:
    """A path that is there or looks like one, or a name in the folder of runs."""
    if Path(word).exists() or os.sep in word or "/" in word:
        return Path(word)
    beside = runs_root() / word
    return beside if (beside / "journal.jsonl").is_file() else None


def _told(named: Named, which: str, beside: bool) -> Path:
    """Say which run was taken."""
    from benchctl.archive.collection.words import run_in_words  # noqa: PLC0415 - few words need an index

    for newer in named.newer:
        click.echo(f"Warning: newer by its name, but not read: {newer}", err=True)
    click.echo(f"{which}: {run_in_words(named.run)}", err=beside)
    return named.run.folder


@dataclass(frozen=True)
class Watching:
    """Who else is told of a run than the terminal.

    Attributes:
        page: whether it is shown as a page in a browser.
        address, port: where that is served; port 0 is any that is free.
        at_end: the program to start at the end, with its arguments; empty: none.
    """

    page: bool = False
    address: str = "127.0.0.1"
    port: int = 0
    at_end: tuple[str, ...] = ()


def _place(_context: click.Context, _option: click.Parameter, written: str | None) -> tuple[str, int] | None:
    if written is None:
        return None
    address, colon, port = written.rpartition(":")
    if not colon or (":" in address and not address.startswith("[")):  # no port is given; an IPv6 address has colons
        return written.strip("[]"), 0
    if not port.isdecimal() or not 0 < int(port) < 65536:
        raise click.BadParameter(f"'{port}' is no port; write for example 192.0.2.7:8080")
    return address.strip("[]"), int(port)


def _program(_context: click.Context, _option: click.Parameter, written: str | None) -> tuple[str, ...]:
    """A program and its arguments, as a shell would split them; no shell ever sees them."""
    try:
        return tuple(shlex.split(written or "", posix=os.name != "nt"))
    except ValueError as error:
        raise click.BadParameter(f"'{written}' cannot be split into a program and its arguments: {error}") from None


def watched(command: Callable[..., int]) -> Callable[..., int]:
    """The options about who else is told of a run, as `watching`."""

    @functools.wraps(command)
    def with_watching(
        watch: bool, watch_address: tuple[str, int] | None, at_end: tuple[str, ...], **others: Any
    ) -> int:
        address, port = watch_address or (Watching.address, Watching.port)
        page = watch or watch_address is not None
        return command(watching=Watching(page, address, port, at_end), **others)

    watch = click.option(
        "--watch", is_flag=True, help="Show the run in a browser too, with a stop button; the address is printed."
    )
    watch_address = click.option(
        "--watch-address",
        metavar="ADDRESS[:PORT]",
        callback=_place,
        help="Serve that page there instead of on this computer alone. Whoever reaches it with the whole address can "
        "stop the run, and nothing is encrypted.",
    )
    at_end = click.option(
        "--at-end",
        metavar="COMMAND",
        envvar="BENCHCTL_AT_END",
        callback=_program,
        help="Start this program once the run has ended, by a limit too, and the bench is safe or known not to be. Its "
        "last argument is how the run ended, in a sentence.",
    )
    return watch(watch_address(at_end(with_watching)))
