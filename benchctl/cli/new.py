"""benchctl new: a commented file of one's own to start from."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args

import click

from benchctl.documents.driver import Role
from benchctl.documents.fields import AmplifierClass, Outputs
from benchctl.documents.reader import read_any
from benchctl.documents.starter import (
    MEASUREMENTS,
    amplifier_text,
    bench_text,
    driver_text,
    sequence_text,
    write_new,
)
from benchctl.errors import DocumentError

_ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
_FILE = click.argument("file", type=click.Path(path_type=Path), metavar="FILE")


def _asked(option: str, question: str, default: str, **kinds: Any) -> Callable[[Any], Any]:
    """An option that is asked for when it is not given."""
    return click.option(option, prompt=question, default=default, show_default=True, help=f"{question}.", **kinds)


@click.group(epilog="Example:  benchctl new sequence mine.yaml --title 'My first sequence'")
def new() -> None:
    """Write a commented file to start from.

    What is not given as an option is asked for. The file passes `benchctl check` as it is written.
    """


@new.command(epilog="Example:  benchctl new sequence mine.yaml --title 'My first sequence'")
@_FILE
@_asked("--title", "Title", "My sequence")
@_asked("--measure", f"What to measure at each rated load ({', '.join(MEASUREMENTS)})", "burst, continuous")
@_asked("--current-limit", "Current limit of the supply", "90 A")
def sequence(file: Path, title: str, measure: str, current_limit: str) -> int:
    """Write a sequence: what to do, step by step."""
    wanted = _listed(measure)
    for name in wanted:
        if name not in MEASUREMENTS:
            raise click.BadParameter(f"'{name}' is none of {', '.join(MEASUREMENTS)}", param_hint="--measure")
    return _write(file, sequence_text(title, wanted, current_limit))


@new.command(epilog="Example:  benchctl new amplifier unit17.yaml --title 'Unit 17'")
@_FILE
@_asked("--title", "Title", "My amplifier")
@_asked("--class", "Class of the output stage", "AB", type=click.Choice(get_args(AmplifierClass)))
@_asked("--channels", "Names of its outputs", "A, B")
@_asked("--outputs", "Outputs", "grounded", type=click.Choice(get_args(Outputs)))
@_asked("--nominal", "Supply voltage at which it is rated", "14.4 V")
@_asked("--minimum", "Lowest supply voltage", "11 V")
@_asked("--maximum", "Highest supply voltage", "16 V")
@_asked("--fuse", "Fuse in its supply lead", "60 A")
@_asked("--minimum-load", "Lowest load per channel", "2 ohm")
@_asked("--gain", "Voltage gain", "30 dB")
@_asked("--idle-current", "Idle current that the maker expects", "1.5 A")
@_asked("--rated", "Rated power per channel by load", "4 ohm = 100 W, 2 ohm = 160 W")
def amplifier(file: Path, channels: str, rated: str, **plate: str) -> int:
    """Write an amplifier file: the rating plate, and what it bears."""
    plate["amplifier_class"] = plate.pop("class")
    return _write(file, amplifier_text(_listed(channels), [_rating(line) for line in _listed(rated)], **plate))


def _rating(line: str) -> tuple[str, str]:
    load, equals, power = line.partition("=")
    if not equals:
        raise click.BadParameter(f"'{line}' is no rating; write for example '4 ohm = 100 W'", param_hint="--rated")
    return load.strip(), power.strip()


@new.command(epilog="Example:  benchctl new bench mybench.yaml --title 'Bench 1'")
@_FILE
@_asked("--title", "Title", "My bench")
@_asked("--generator", "Address of the generator", "TCPIP::192.0.2.11::5025::SOCKET")
@_asked("--oscilloscope", "Address of the oscilloscope", "TCPIP::192.0.2.12::5025::SOCKET")
@_asked("--load", "Address of the load's relays", "TCPIP::192.0.2.13::5025::SOCKET")
@_asked("--supply", "Address of the supply", "TCPIP::192.0.2.14::5025::SOCKET")
@_asked("--thermometer", "Address of the thermometer", "TCPIP::192.0.2.15::5025::SOCKET")
@_asked("--channels", "Amplifier outputs that are wired", "A, B")
@_asked("--loads", "Load resistances of each channel", "4 ohm, 2 ohm")
def bench(file: Path, title: str, channels: str, loads: str, **addresses: str) -> int:
    """Write a bench file: your instruments, and what is wired to what."""
    return _write(file, bench_text(title, addresses, _listed(channels), _listed(loads)))


@new.command(epilog="Example:  benchctl new driver my_supply.yaml --role supply")
@_FILE
@_asked("--role", "Role of the instrument", "supply", type=click.Choice(_ROLES))
def driver(file: Path, role: Role) -> int:
    """Write a driver file: the commands of a family of instruments."""
    return _write(file, driver_text(role))


def _listed(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _write(file: Path, text: str) -> int:
    """Write the file and say what is left to do; an answer that makes it wrong is told like any fault of a file."""
    write_new(file, text)
    try:
        read_any(file)
    except DocumentError as error:
        file.unlink()
        raise DocumentError(error.problems) from None
    click.echo(f"Wrote {file}. Put your own figures in, then: benchctl check {file}")
    return 0
