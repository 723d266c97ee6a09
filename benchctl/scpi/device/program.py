"""From the bytes of a program message to commands ready to run.

The result depends on the text and the command tree alone, so it can be kept and run again.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from benchctl.scpi.device.headers import Call, Command, CommandTree
from benchctl.scpi.device.parameters import Parameter
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.scanner import Datum, Header, Scanner


class Unit(NamedTuple):
    """One program message unit: a command, the suffixes of its header, and its parameters as read."""

    command: Command
    suffixes: tuple[int, ...]
    readings: tuple[tuple[Parameter, Any], ...]
    missing: int  # how many optional parameters were left out

    def call(self) -> Call:
        """What its handler is told now. Raises ScpiError where a value is beyond a limit."""
        if not self.readings:
            return Call(self.suffixes, (None,) * self.missing)
        values = tuple([parameter.settle(reading) for parameter, reading in self.readings])
        return Call(self.suffixes, values + (None,) * self.missing)


class FoundError(NamedTuple):
    """An error found in the text: number and information of the ScpiError."""

    code: int
    info: str


# A message: its units in order; a command error is the last of them, because nothing behind it is read.
Program = tuple[Unit | FoundError, ...]


def compile_message(message: bytes, tree: CommandTree) -> Program:
    """Parse a program message without its end.

    After a command error the rest of the message is dropped, because the path in which to read it is no longer known
    (from memory: IEEE 488.2 leaves this to the device). A parameter that can never be valid is an execution error of
    its own unit only.
    """
    scanner = Scanner(message.decode("latin-1"))
    units: list[Unit | FoundError] = []
    if scanner.is_at_end:
        return ()
    path: tuple[str, ...] = ()
    try:
        while True:
            header = scanner.header()
            words, path = _resolve(header, path)
            units.append(_unit(words, header, scanner, tree))
            if not scanner.next_unit():
                break
    except ScpiError as error:
        units.append(FoundError(error.code, error.info))
    return tuple(units)


def _resolve(header: Header, path: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The header in full from the root, and the path for the next one (IEEE 488.2 appendix A, SCPI-99 6.2.4)."""
    if header.is_common:
        return ("*" + header.words[0],), path
    words = header.words if header.is_absolute else path + header.words
    return words, words[:-1]


def _unit(words: tuple[str, ...], header: Header, scanner: Scanner, tree: CommandTree) -> Unit | FoundError:
    command, suffixes = tree.find(words, is_query=header.is_query)
    data = scanner.data()
    parameters = _match(command.parameters, data)
    try:
        readings = tuple((parameter, parameter.read(datum)) for parameter, datum in zip(parameters, data, strict=True))
    except ScpiError as error:
        if error.code <= -200:
            return FoundError(error.code, error.info)
        raise
    return Unit(command, suffixes, readings, max(0, len(command.parameters) - len(data)))


def _match(parameters: Sequence[Parameter], data: Sequence[Datum]) -> Sequence[Parameter]:
    """One parameter for each datum. Raises ScpiError -108 for too many, -109 for too few."""
    surplus = len(data) - len(parameters)
    if surplus > 0:
        if not parameters or not parameters[-1].repeats:
            raise ScpiError(-108, data[len(parameters)].text[:40])
        return [*parameters, *[parameters[-1]] * surplus]
    if surplus < 0 and not parameters[len(data)].optional:
        raise ScpiError(-109)
    return parameters[: len(data)]
