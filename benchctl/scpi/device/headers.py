"""The commands of an instrument as a tree of headers (SCPI-99 volume 1, 6.2)."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Any, NamedTuple

from benchctl.scpi.device.answers import Answer
from benchctl.scpi.device.parameters import LimitWord, Numeric, Parameter
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.mnemonics import short_of, split_suffix

_NODE = re.compile(r"(\[)?:?(\*?[A-Za-z][A-Za-z0-9_]*)(?:<(n|\d+:\d+)>)?:?(\])?")
_PATTERNS = 1024  # more than those of all simulated instruments together


class Call(NamedTuple):
    """What a handler is told: the numeric suffixes of its header (1 where none was written) and the parameters."""

    suffixes: tuple[int, ...]
    values: tuple[Any, ...]


SetHandler = Callable[[Call], None]
QueryHandler = Callable[[Call], Answer]


@dataclass(frozen=True)
class Command:
    """One command or one query: what to call, and with what.

    Attributes:
        waits: runs only once no overlapped operation is pending, as *WAI and *OPC? do.
        is_indefinite: answers arbitrary text, so the start of a next answer cannot be found (IEEE 488.2 6.5.7.5).
    """

    handler: Callable[[Call], Answer | None]
    parameters: tuple[Parameter, ...]
    is_query: bool
    waits: bool = False
    is_indefinite: bool = False


@dataclass(frozen=True)
class _Node:
    forms: tuple[str, str]  # the short one and the long one, which may be the same
    is_optional: bool
    suffixes: range | None  # None: the node takes no suffix


class _Way(NamedTuple):
    """One way to write a header: which nodes of its pattern are written."""

    nodes: tuple[_Node, ...]
    is_written: tuple[bool, ...]

    @property
    def written(self) -> list[_Node]:
        return [node for node, is_written in zip(self.nodes, self.is_written, strict=True) if is_written]

    def suffixes(self, numbers: Sequence[int | None]) -> tuple[int, ...]:
        """One number for each node that takes one; -114 for a number that a node does not have."""
        written = iter(numbers)
        found: list[int] = []
        for node, is_written in zip(self.nodes, self.is_written, strict=True):
            number = next(written) if is_written else None
            number = 1 if number is None else number  # SCPI-99 6.2.5.2: no suffix means 1
            if number not in (node.suffixes or (1,)):
                raise ScpiError(-114, str(number)[:20])
            if node.suffixes is not None:
                found.append(number)
        return tuple(found)


class _Ending(NamedTuple):
    """The end of one way to write a header, and its command."""

    command: Command
    way: _Way


class _Branch:
    def __init__(self) -> None:
        self.children: dict[str, _Branch] = {}
        self.endings: dict[bool, _Ending] = {}  # by "is a query"


class CommandTree:
    """Headers and what they do.

    A pattern is written as in the standard: short forms in capitals, optional nodes in brackets, numeric suffixes as
    `<n>` (any from 1 up) or with their range: `[SOURce]:VOLTage[:LEVel]`, `OUTPut<1:2>[:STATe]`, `CHANnel<1:4>:SCALe`.
    """

    def __init__(self) -> None:
        self._root = _Branch()

    def add(
        self,
        pattern: str,
        *,
        set: SetHandler | None = None,
        query: QueryHandler | None = None,
        parameters: Sequence[Parameter] = (),
        query_parameters: Sequence[Parameter] = (),
        waits: bool = False,
        is_indefinite: bool = False,
    ) -> None:
        """Add a header: `set` runs for the command, `query` for the query.

        A query answers MINimum, MAXimum and DEFault by itself where the command's only parameter has limits.

        Raises:
            ValueError: a pattern that makes no sense, or a header that is taken already.
        """
        if set is None and parameters:
            raise ValueError(f"{pattern}: parameters of a query are given as query_parameters")
        if set is not None:
            self._insert(pattern, Command(set, tuple(parameters), False, waits))
        if query is not None:
            if not query_parameters and len(parameters) == 1:
                query, query_parameters = _with_limits(query, parameters[0])
            self._insert(pattern, Command(query, tuple(query_parameters), True, waits, is_indefinite))

    def remove(self, pattern: str) -> None:
        """Take a header away, and all that lies below it: the instrument does not know it.

        Raises:
            KeyError: there is no such header.
        """
        branch = self._root
        *above, last = _parse_pattern(pattern)
        for node in above:
            branch = branch.children[node.forms[0]]
        for form in set(last.forms):
            del branch.children[form]

    def find(self, words: Sequence[str], *, is_query: bool) -> tuple[Command, tuple[int, ...]]:
        """The command that a header written in full from the root leads to, and its numeric suffixes.

        Args:
            words: the nodes in upper case, with their suffixes.

        Raises:
            ScpiError: -113 no such header, -114 no such suffix.
        """
        branch, numbers = self._root, []
        for word in words:
            child, number = _step(branch, word)
            if child is None:
                raise ScpiError(-113, ":".join(words)[:40])
            branch = child
            numbers.append(number)
        ending = branch.endings.get(is_query)
        if ending is None:
            raise ScpiError(-113, ":".join(words)[:40] + ("?" if is_query else ""))
        return ending.command, ending.way.suffixes(numbers)

    def _insert(self, pattern: str, command: Command) -> None:
        for way, written in _ways(pattern):
            endings = _grow(self._root, written).endings
            if command.is_query in endings and endings[command.is_query].command is not command:
                raise ValueError(f"{pattern} is taken by another command")
            endings.setdefault(command.is_query, _Ending(command, way))


@lru_cache(maxsize=_PATTERNS)
def _ways(pattern: str) -> tuple[tuple[_Way, list[_Node]], ...]:
    """All ways to write a header, each with the nodes that are written."""
    nodes = _parse_pattern(pattern)
    kept = product(*((True, False) if node.is_optional else (True,) for node in nodes))
    ways = [_Way(nodes, is_written) for is_written in kept]
    if not all(any(way.is_written) for way in ways):
        raise ValueError(f"{pattern}: one node must not be optional")
    return tuple((way, way.written) for way in ways)


def _step(branch: _Branch, word: str) -> tuple[_Branch | None, int | None]:
    """The child a word leads to; a name that itself ends in digits comes before a name with a suffix."""
    child = branch.children.get(word)
    if child is not None:
        return child, None
    name, number = split_suffix(word)
    return branch.children.get(name), number


def _grow(root: _Branch, nodes: Sequence[_Node]) -> _Branch:
    """Add the branches along `nodes` and return the last; both forms of a node lead to one branch."""
    branch = root
    for node in nodes:
        (short, long), children = node.forms, branch.children
        branch = children.get(short) or children.get(long) or _Branch()
        children[short] = children[long] = branch
    return branch


@lru_cache(maxsize=_PATTERNS)
def _parse_pattern(pattern: str) -> tuple[_Node, ...]:
    nodes: list[_Node] = []
    at = 0
    while at < len(pattern):
        found = _NODE.match(pattern, at)
        if found is None or (found.group(1) is None) != (found.group(4) is None):
            raise ValueError(f"'{pattern}' is not a header: stuck at '{pattern[at:]}'")
        nodes.append(_Node(_forms(found.group(2)), found.group(1) is not None, _range(found.group(3))))
        at = found.end()
    return tuple(nodes)


def _forms(spelling: str) -> tuple[str, str]:
    long = spelling.upper()
    return (long if spelling.startswith("*") else short_of(spelling)), long


def _range(text: str | None) -> range | None:
    if text is None:
        return None
    if text == "n":
        return range(1, 1_000_000)
    first, last = text.split(":")
    return range(int(first), int(last) + 1)


def _with_limits(query: QueryHandler, parameter: Parameter) -> tuple[QueryHandler, tuple[Parameter, ...]]:
    """Let a query also answer the limits of its setting; where there are no limits the query stays as it is."""
    if not isinstance(parameter, Numeric) or not parameter.has_limits or parameter.repeats:
        return query, ()

    def answer(call: Call) -> Answer:
        (limit,) = call.values
        return query(Call(call.suffixes, ())) if limit is None else float(limit)

    return answer, (LimitWord(parameter),)
