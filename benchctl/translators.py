"""Translators: for instruments whose messages no driver file can write, such as frames with a checksum.

A translator is a Python class of another package, which that package names as an entry point of the group
`benchctl.translators`. The driver file keeps its lines, such as `OUT 1`; the translator turns each into the bytes that
the instrument understands, and what it answers into a line. So everything that is done with lines stays as it is:
read-back, the error queue, the safe state, and the guardian, which loads the translator as well.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import EntryPoint, entry_points
from typing import Protocol, cast, runtime_checkable

GROUP = "benchctl.translators"


@runtime_checkable
class Translator(Protocol):
    """What a translator does. There is one for each link, made without arguments; it may remember what it encoded."""

    def encode(self, line: str) -> bytes:
        """The bytes to send for one line of the driver file.

        Raises:
            ValueError: it does not know the line; then nothing is sent.
        """

    def decode(self, received: bytes) -> tuple[str | None, bytes]:
        """The first answer in what was received, as one line, and the bytes that follow it.

        None in place of the line: the answer is not whole yet, and all bytes are given back.

        Raises:
            ValueError: what was received is no answer, as where a checksum is wrong.
        """


class TranslatorError(ValueError):
    """A translator cannot be had; the text says why."""


def names() -> tuple[str, ...]:
    """The translators that installed packages offer."""
    return tuple(sorted({entry.name for entry in _offered()}))


def load(name: str) -> Callable[[], Translator]:
    """What makes a translator of this name.

    Raises:
        TranslatorError: no installed package offers it, or it cannot be loaded, or it is none.
    """
    entry = next((entry for entry in _offered() if entry.name == name), None)
    if entry is None:
        raise TranslatorError(missing(name))
    try:
        make = cast("Callable[[], Translator]", entry.load())
        made = make()
    except Exception as error:  # whatever another package's code does
        raise TranslatorError(f"the translator '{name}' cannot be loaded: {error}") from error
    if not isinstance(made, Translator):
        raise TranslatorError(f"'{name}' is no translator: it needs the methods 'encode' and 'decode'")
    return make


def _offered() -> tuple[EntryPoint, ...]:
    return tuple(entry_points(group=GROUP))


def missing(name: str) -> str:
    """A sentence for a translator that no installed package offers."""
    offered = names()
    there = f"offered are {', '.join(offered)}" if offered else "none is installed"
    return f"no installed package offers a translator '{name}'; {there}"
