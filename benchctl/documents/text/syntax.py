"""The YAML parser's errors as sentences that a technician can act on, with the position to look at."""

from __future__ import annotations

import re

import yaml

from benchctl.documents.text.position import START, Position, position_after, position_at
from benchctl.errors import Problem, quote

LINE_END = re.compile("\r\n|[\n\r\x85\u2028\u2029]")  # YAML 1.1, 4.2: what the parser counts as a line's end
_NO_COLON = "this line has no colon after its key; write 'key: value'"
# The YAML parser's message -> a sentence to act on, and whether its position is where the construct began.
_YAML_FAULTS: tuple[tuple[str, str, bool], ...] = (
    (
        "mapping values are not allowed",
        "a colon that does not fit here; look for a missing colon or a wrong indent in the line before, "
        "and quote a text that contains ': '",
        False,
    ),
    (
        "could not find expected ':'",
        _NO_COLON,
        True,
    ),
    ("found character '\\t'", "a tab; indent with spaces", False),
    ("found a tab character", "a tab; indent with spaces", False),
    ("did not find expected key", "this does not line up; the keys of one mapping need the same indent", False),
    ("expected <block end>", "this does not line up; the keys of one mapping need the same indent", False),
    ("did not find expected '-'", "this does not line up; each entry of a list begins with '- ' at one indent", False),
    (
        "block sequence entries are not allowed",
        "a '- ' that does not fit here; a list begins on a line of its own",
        False,
    ),
    ("did not find expected ',' or '}'", "a comma or the closing '}' is missing before this", False),
    ("expected ',' or '}'", "a comma or the closing '}' is missing before this", False),
    ("did not find expected ',' or ']'", "a comma or the closing ']' is missing before this", False),
    ("expected ',' or ']'", "a comma or the closing ']' is missing before this", False),
    ("expected node content", "a value is missing before this", False),
    ("expected the node content", "a value is missing before this", False),
    ("<document start>", "the document ends before this; look at the indent of the lines around", False),
    ("exceeded maximum nesting depth", "nested too deep; is a bracket left open?", False),
    ("found unexpected end of stream", "the quoted text that begins here is never closed", True),
    ("found undefined alias", "an alias (*) without its anchor (&); write the value itself", False),
    ("second occurrence", "an anchor (&) that was given before; use another name", False),
    ("cannot start any token", "this character cannot begin a value; put the value in quotes", False),
)


def syntax_problem(error: yaml.YAMLError, text: str, file: str) -> Problem:
    """The first problem of a text that is not YAML; the parser cannot go on after it."""
    if isinstance(error, yaml.reader.ReaderError):
        at = text[error.position : error.position + 1]
        message = f"the character {quote(at)} is not allowed in a text file"
        return Problem(file, *position_after(text[: error.position]), message)
    position, began = (position_at(getattr(error, mark, None)) for mark in ("problem_mark", "context_mark"))
    complaint = " ".join(filter(None, (getattr(error, said, None) for said in ("problem", "context"))))
    return Problem(file, *_judge(complaint, position, began, LINE_END.split(text)))


def _judge(complaint: str, position: Position, began: Position, lines: list[str]) -> tuple[int, int, str]:
    line = lines[position.line - 1] if position.line <= len(lines) else ""
    if line[position.column - 1 : position.column] == "\t":
        return (*position, "a tab; indent with spaces")
    if began != START and not "".join([line[position.column - 1 :], *lines[position.line :]]).strip():
        return (*began, "what begins here is never closed; a bracket, a brace or a quote is missing")
    if "mapping values" in complaint and position.line > 1 and ":" not in line[: position.column - 1]:
        before = lines[position.line - 2]
        if ":" not in before.split(" #")[0]:
            return position.line - 1, len(before) - len(before.lstrip()) + 1, _NO_COLON
    message, at_beginning = _in_plain_words(complaint)
    return (*(began if at_beginning else position), message)


def _in_plain_words(complaint: str) -> tuple[str, bool]:
    """A sentence, and whether its position is where the construct began."""
    for words, sentence, at_beginning in _YAML_FAULTS:
        if words in complaint:
            return sentence, at_beginning
    return f"this is not YAML: {complaint}", False
