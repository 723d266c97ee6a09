"""YAML text as a tree: scalars stay text, and every node keeps its position in the file.

`yaml.compose` does the work. Before it the parser's events are counted, so that a malicious or garbled file (deep
nesting, many aliases, a megabyte of noise) is refused before anything is built from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml

from benchctl.documents.text.position import START, Position, position_at, position_of
from benchctl.documents.text.syntax import syntax_problem
from benchctl.errors import DocumentError, Problem, quote

# The longest file that ships has under 4 kB; twenty-five times that still parses in well under a second.
LONGEST_FILE_BYTES = 100_000
DEEPEST_NESTING = 24  # the deepest that ships is 8
MOST_NODES = 10_000  # the most that ships is about 250
MOST_ALIASES = 50
LARGEST_ANCHORED_VALUE = 50  # nodes: enough for a probe or a list of loads, too few for a document inside a document

# libyaml if PyYAML was built with it: ten times faster, same events.
_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class Text(str):
    """A scalar as it was written, with its place."""

    __slots__ = ("position",)
    position: Position

    def __new__(cls, value: str, position: Position = START) -> Text:
        text = super().__new__(cls, value)
        text.position = position
        return text


class Listing(list[Any]):
    """A YAML sequence with its place."""

    def __init__(self, items: Iterable[Any] = (), position: Position = START) -> None:
        super().__init__(items)
        self.position = position


class Table(dict[str, Any]):
    """A YAML mapping with its place; each key is a `Text`, so a key has its place too."""

    def __init__(self, items: Iterable[tuple[str, Any]] = (), position: Position = START) -> None:
        super().__init__(items)
        self.position = position

    def key_position(self, key: str) -> Position:
        """Where `key` is written; the mapping's own position if it has no such key."""
        return next((position_of(own) for own in self if own == key), self.position)

    def without(self, keys: Iterable[str]) -> Table:
        """This mapping without some keys, at the same position."""
        dropped = set(keys)
        return Table(((key, value) for key, value in self.items() if key not in dropped), self.position)


Tree = Text | Listing | Table


def parse_tree(text: str, file: str) -> tuple[Tree, list[Problem]]:
    """The tree of one YAML document, and problems with which it can still be read (a doubled key).

    Raises:
        DocumentError: not YAML, or beyond the bounds above, or with tags or nested aliases.
    """
    try:
        _Census(file).take(yaml.parse(text, Loader=_Loader))
        node = yaml.compose(text, Loader=_Loader)
    except yaml.YAMLError as error:
        raise DocumentError([syntax_problem(error, text, file)]) from None
    if node is None:
        raise DocumentError([Problem(file, 1, 1, "the file is empty; it should begin with 'benchctl: ' and its kind")])
    grower = _Grower(file)
    tree = grower.grow(node)
    return tree, grower.problems


@dataclass
class _Census:
    """Counts the parser's events against the bounds, building nothing."""

    file: str
    documents: int = 0
    nodes: int = 0
    aliases: int = 0
    open: list[tuple[bool, int]] = field(default_factory=list)  # per open collection: anchored?, nodes before it

    def take(self, events: Iterator[yaml.Event]) -> None:
        """Read every event; stop at the first one beyond a bound."""
        for event in events:
            self._check_common(event)
            if isinstance(event, yaml.CollectionStartEvent):
                self._enter(event)
            elif isinstance(event, yaml.CollectionEndEvent):
                self._leave(event)
            elif isinstance(event, yaml.AliasEvent):
                self._alias(event)

    def _refuse(self, event: yaml.Event, message: str) -> None:
        raise DocumentError([Problem(self.file, *position_at(event.start_mark), message)])

    def _check_common(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self._refuse(event, "a second YAML document begins here; one file holds one document")
        if isinstance(event, yaml.NodeEvent):
            self.nodes += 1
        if self.nodes > MOST_NODES:
            self._refuse(event, f"more than {MOST_NODES} entries up to here; no benchctl document has so many")
        tag = getattr(event, "tag", None)
        if tag is not None:
            self._refuse(event, f"the tag {quote(tag)} is not supported; write the plain value without it")

    def _enter(self, event: yaml.CollectionStartEvent) -> None:
        self.open.append((event.anchor is not None, self.nodes))
        if len(self.open) > DEEPEST_NESTING:
            self._refuse(event, f"nested deeper than {DEEPEST_NESTING} levels; is a bracket or an indent left open?")

    def _leave(self, event: yaml.Event) -> None:
        anchored, before = self.open.pop()
        if anchored and self.nodes - before > LARGEST_ANCHORED_VALUE:
            self._refuse(
                event, f"an anchored value (&) may hold {LARGEST_ANCHORED_VALUE} entries; write it out instead"
            )

    def _alias(self, event: yaml.AliasEvent) -> None:
        self.aliases += 1
        if any(anchored for anchored, _ in self.open):
            self._refuse(event, f"the alias *{event.anchor} stands inside an anchored value (&); write it out instead")
        if self.aliases > MOST_ALIASES:
            self._refuse(event, f"more than {MOST_ALIASES} aliases (*) up to here; write the values out instead")


class _Grower:
    """Turns yaml's nodes into `Text`, `Listing` and `Table`, noting doubled and unusable keys."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def grow(self, node: yaml.Node) -> Tree:
        """The tree under `node`; its depth was checked before, so recursion is safe."""
        position = position_at(node.start_mark)
        if isinstance(node, yaml.MappingNode):
            return self._grow_table(node, position)
        if isinstance(node, yaml.SequenceNode):
            return Listing((self.grow(item) for item in node.value), position)
        return Text(node.value, position)

    def _grow_table(self, node: yaml.MappingNode, position: Position) -> Table:
        table = Table(position=position)
        for key_node, value_node in node.value:
            value = self.grow(value_node)
            problem = self._key_problem(key_node, table)
            if problem:
                self.problems.append(Problem(self.file, *position_at(key_node.start_mark), problem))
            else:
                table[Text(key_node.value, position_at(key_node.start_mark))] = value
        return table

    def _key_problem(self, key_node: yaml.Node, table: Table) -> str:
        """Why this key is not accepted, or an empty text."""
        if not isinstance(key_node, yaml.ScalarNode):
            return "a list or a mapping cannot be a key; a key is one word followed by a colon"
        if key_node.value == "<<":
            return "merge keys (<<) are not supported; write the entries out"
        if key_node.value in table:
            first = table.key_position(key_node.value)
            return f"{quote(key_node.value)} is given twice (first in line {first.line}); keep one"
        return ""
