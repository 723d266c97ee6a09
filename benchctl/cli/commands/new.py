"""benchctl new: a commented file of your own to start from."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, get_args

import click

from benchctl import library
from benchctl.cli.questions import Listed, Named, Paired, Question, Written, asking, take_offered
from benchctl.documents.driver_file.driver import ROLES, Role
from benchctl.documents.model.fields import (
    Address,
    AmplifierClass,
    ChannelName,
    Line,
    Outputs,
    PositiveAmperes,
    PositiveOhms,
    PositiveVolts,
    PositiveWatts,
    Ratio,
)
from benchctl.documents.reader import load_driver, read_any
from benchctl.documents.schema import Kind, modeline, schema_name, schema_of
from benchctl.documents.starter import (
    MEASUREMENTS,
    amplifier_text,
    bench_text,
    driver_text,
    sequence_text,
    usual_driver,
    write_new,
)
from benchctl.errors import DocumentError, UsageError

_VOLTS, _AMPERES, _OHMS = Written(PositiveVolts), Written(PositiveAmperes), Written(PositiveOhms)
_CHANNELS = Listed(Written(ChannelName))

_SEQUENCE = (
    Question("--title", "Title", "My sequence", Written(Line)),
    Question(
        "--measure",
        f"What to measure ({', '.join(MEASUREMENTS)})",
        "burst, continuous",
        Listed(Named(tuple(MEASUREMENTS), "measurement")),
    ),
)
_AMPLIFIER = (
    Question("--title", "Title", "My amplifier", Written(Line)),
    Question("--class", "Class of the output stage", "AB", click.Choice(get_args(AmplifierClass))),
    Question("--channels", "Names of its outputs", "A, B", _CHANNELS),
    Question("--outputs", "Outputs", "grounded", click.Choice(get_args(Outputs))),
    Question("--nominal", "Supply voltage at which it is rated", "14.4 V", _VOLTS),
    Question("--minimum", "Lowest supply voltage", "11 V", _VOLTS),
    Question("--maximum", "Highest supply voltage", "16 V", _VOLTS),
    Question("--fuse", "Fuse in its supply lead", "60 A", _AMPERES),
    Question("--minimum-load", "Lowest load per channel", "2 ohm", _OHMS),
    Question("--gain", "Voltage gain", "30 dB", Written(Ratio)),
    Question("--idle-current", "Idle current that the maker expects", "1.5 A", _AMPERES),
    Question(
        "--rated",
        "Rated power per channel by load",
        "4 ohm = 100 W, 2 ohm = 160 W",
        Listed(Paired(_OHMS, Written(PositiveWatts), "4 ohm = 100 W")),
    ),
)
_ADDRESS = Written(Address)
_BENCH = (
    Question("--title", "Title", "My bench", Written(Line)),
    Question("--generator", "Address of the generator", "TCPIP::192.0.2.11::5025::SOCKET", _ADDRESS),
    Question("--oscilloscope", "Address of the oscilloscope", "TCPIP::192.0.2.12::5025::SOCKET", _ADDRESS),
    Question("--load", "Address of the load's relays", "TCPIP::192.0.2.13::5025::SOCKET", _ADDRESS),
    Question("--supply", "Address of the supply", "TCPIP::192.0.2.14::5025::SOCKET", _ADDRESS),
    Question("--thermometer", "Address of the thermometer", "TCPIP::192.0.2.15::5025::SOCKET", _ADDRESS),
    Question("--channels", "Amplifier outputs that are wired", "A, B", _CHANNELS),
    Question("--loads", "Load resistances of each channel", "4 ohm, 2 ohm", Listed(_OHMS)),
)
# What eager options leave for the command, in click's own place for that.
_LIKE, _DRIVERS = "benchctl.like", "benchctl.drivers"
_Option = Callable[[Callable[..., int]], Callable[..., int]]


def _start_like(context: click.Context, _option: click.Parameter, name: str | None) -> None:
    """The role is that of the driver, so it is not asked for."""
    if name:
        library.find("drivers", name)
        context.meta[_LIKE] = name
        take_offered(context)


class _Found(click.Option):
    """What is found is offered in place of the examples, before anything is asked."""

    def handle_parse_result(
        self, ctx: click.Context, opts: Mapping[str, Any], args: list[str]
    ) -> tuple[Any, list[str]]:
        if opts.get("found"):
            _offer_found(ctx, opts.get("interfaces"))
        return super().handle_parse_result(ctx, opts, args)


def _offer_found(context: click.Context, interfaces: Sequence[str] | None) -> None:
    from benchctl.launch.found_roles import found_roles  # noqa: PLC0415 - heavy, and only this needs it

    found = found_roles(interfaces)
    for role in ROLES:
        place = found.get(role)
        words = (
            f"{place.address}, {place.driver} ({place.identity})" if place else "none found; the address is an example"
        )
        click.echo(f"{role}: {words}")
    context.default_map = {role: place.address for role, place in found.items()}
    context.meta[_DRIVERS] = {role: place.driver for role, place in found.items()}


_like_option = click.option(
    "--like", metavar="DRIVER", is_eager=True, expose_value=False, callback=_start_like,
    help="Start from this shipped driver, such as supply/scpi99.",
)  # fmt: skip
_interface_option = click.option(
    "--interface", "interfaces", multiple=True, metavar="NAME", expose_value=False,
    help="With --found: listen on this network interface only.",
)  # fmt: skip
_found_option = click.option(
    "--found", cls=_Found, is_flag=True, is_eager=True, expose_value=False,
    help="Look for the instruments that answer, and offer their addresses and the drivers that fit.",
)  # fmt: skip
_DRIVER = (Question("--role", "Role of the instrument", "supply", click.Choice(ROLES)),)


@click.group(epilog="Example:  benchctl new sequence mine.yaml --title 'My first sequence'")
def new() -> None:
    """Write a commented file to start from.

    What is not given as an option is asked for. The file passes `benchctl check` as it is written. Its schema is put
    beside it, by which an editor completes and checks it while it is typed.
    """


def _begins(
    kind: Kind, example: str, questions: Sequence[Question], options: Sequence[_Option] = ()
) -> Callable[[Callable[..., str]], click.Command]:
    """The command that writes a file of a kind, from the function that makes its text of the answers.

    `options`: further ones, which decide before anything is asked what is offered.
    """

    def decorate(text_of: Callable[..., str]) -> click.Command:
        @click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
        @asking(questions)
        @click.option("--schema/--no-schema", default=True, show_default=True, help="Put the schema beside the file.")
        def command(file: Path, schema: bool, **answers: Any) -> int:
            return _write(kind, file, text_of(**answers), schema=schema)

        for option in options:
            command = option(command)
        return new.command(kind, help=text_of.__doc__, epilog=f"Example:  benchctl new {kind} {example}")(command)

    return decorate


@_begins("sequence", "mine.yaml --title 'My first sequence'", _SEQUENCE)
def sequence(title: str, measure: Sequence[str]) -> str:
    """Write a sequence: what to do, step by step."""
    return sequence_text(title, measure)


@_begins("amplifier", "unit17.yaml --title 'Unit 17'", _AMPLIFIER)
def amplifier(channels: Sequence[str], rated: Sequence[tuple[str, str]], **plate: str) -> str:
    """Write an amplifier file: the rating plate, and what it bears."""
    return amplifier_text(channels, rated, amplifier_class=plate.pop("class"), **plate)


@_begins("bench", "mybench.yaml --title 'Bench 1'", _BENCH, (_found_option, _interface_option))
def bench(title: str, channels: Sequence[str], loads: Sequence[str], **addresses: str) -> str:
    """Write a bench file: your instruments, and what is wired to what.

    With --found the instruments that answer are looked for first, and each takes the role of the driver file that fits
    it. What is not found has an address to be replaced.
    """
    return bench_text(title, addresses, channels, loads, click.get_current_context().meta.get(_DRIVERS))


@_begins("driver", "my_supply.yaml --like supply/scpi99", _DRIVER, (_like_option,))
def driver(role: Role) -> str:
    """Write a driver file: the commands of a family of instruments."""
    found = load_driver(click.get_current_context().meta.get(_LIKE) or usual_driver(role))
    return driver_text(found.source.text if found.based_on is None else found.whole_text)


def _write(kind: Kind, file: Path, text: str, *, schema: bool) -> int:
    """Write the file and say what is left to do; answers that together make it wrong are told like any fault of one."""
    write_new(file, modeline(kind) + text if schema else text)
    try:
        read_any(file)
    except DocumentError as error:
        file.unlink()
        raise DocumentError(error.problems) from None
    if schema:
        _put_schema(kind, file.with_name(schema_name(kind)))
    click.echo(f"Wrote {file}. Put your own figures in, then: benchctl check {file}")
    return 0


def _put_schema(kind: Kind, path: Path) -> None:
    """Over one that an earlier version of this program has put there, but over no other file."""
    schema = schema_of(kind)
    try:
        if not path.exists() or f'"title": "{schema["title"]}"' in path.read_text(encoding="utf-8", errors="replace"):
            path.write_text(json.dumps(schema, indent=2) + "\n", encoding="utf-8")
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror or error}") from None
