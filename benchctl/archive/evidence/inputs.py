"""The inputs of a run as evidence: kept unchanged, hashed when the run begins, and compared with the hash later."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from types import MappingProxyType

from benchctl.archive.files import read_bytes
from benchctl.archive.folder import INPUTS, RunFolder
from benchctl.archive.journal.events import INPUTS_ACCEPTED, INPUTS_KEPT, RUN_STARTED
from benchctl.archive.journal.journal import Event
from benchctl.documents.text.private_lines import private_lines
from benchctl.errors import ArchiveError, quote

# A document has some hundred lines; if a file is much longer, only its name is given.
_MOST_LINES = 2000
_MOST_TOLD = 6
_TEXTS = (".yaml", ".json")
_NOT_SHOWN = "not shown, since it may name a person"


@dataclass(frozen=True)
class InputsCheck:
    """The inputs as they are now, compared with the journal.

    Attributes:
        changed: a sentence for each file that is not as it was, with the lines where their text is known.
        added: files that were not there; nothing reads them.
        unproven: why the inputs, or their first state, cannot be checked; '' where they can be.
        accepted: what was changed before, and accepted with a reason.
        was_never_hashed: whether the journal has no hash of any input.
        hashes: file -> SHA-256 as they are now, of the files that the run kept; of all where it hashed none.
    """

    changed: tuple[str, ...]
    added: tuple[str, ...]
    unproven: str
    accepted: tuple[str, ...]
    was_never_hashed: bool
    hashes: Mapping[str, str]


def keep_inputs(
    folder: RunFolder, texts: Mapping[str, str], pictures: Mapping[str, bytes] = MappingProxyType({})
) -> Mapping[str, str]:
    """Store each text and each picture under its name in inputs/; returns name -> SHA-256 of the file.

    Raises:
        ArchiveError: one cannot be written.
    """
    contents = {name: text.encode("utf-8") for name, text in texts.items()} | dict(pictures)
    for name, content in contents.items():
        folder.save_input(name, content)
    return {name: _hash(content) for name, content in contents.items()}


def check_inputs(folder: RunFolder, events: Sequence[Event]) -> InputsCheck:
    """Compare every file in inputs/ with its hash in the journal."""
    expected, unproven = _expected(events)
    found = {name: _content(path) for name, path in _files(folder)}
    texts = _texts(events)
    return InputsCheck(
        changed=tuple(_changes(expected, found, texts)),
        added=tuple(f"{INPUTS}/{name} was not there when the run began" for name in found.keys() - expected.keys())
        if expected
        else (),
        unproven=unproven,
        accepted=tuple(_accepted(events)),
        was_never_hashed=not expected,
        hashes={
            name: _hash(content)
            for name, content in sorted(found.items())
            if content is not None and (name in expected or not expected)
        },
    )


def texts_of(folder: RunFolder, names: Iterable[str]) -> Mapping[str, str]:
    """The text of these inputs, as the journal keeps it beside their hashes; pictures are left out.

    Raises:
        ArchiveError: one cannot be read.
    """
    return {
        name: read_bytes(folder.inputs / name).decode("utf-8", errors="backslashreplace")
        for name in names
        if name.endswith(_TEXTS)
    }


def _expected(events: Sequence[Event]) -> tuple[Mapping[str, str], str]:
    """The hashes to compare with, and why they are not those of the start of the run ('' where they are)."""
    began = [event for event in events if event["event"] == RUN_STARTED]
    told = [e for e in events if e["event"] in (RUN_STARTED, INPUTS_KEPT, INPUTS_ACCEPTED) and "inputs" in e]
    if not began:
        return {}, "the inputs: the journal does not say how the run began"
    if not told:
        return {}, "the inputs: this folder was made before inputs were hashed"
    if told[0]["event"] != RUN_STARTED:
        since = told[0]["number"]
        return told[-1]["inputs"], f"the inputs before event {since}: only since then are they hashed"
    return told[-1]["inputs"], ""


def _texts(events: Sequence[Event]) -> Mapping[str, str]:
    texts: dict[str, str] = {}
    for event in events:
        if event["event"] in (INPUTS_KEPT, INPUTS_ACCEPTED):
            texts |= event["texts"]
    return texts


def _accepted(events: Sequence[Event]) -> Iterator[str]:
    for event in events:
        if event["event"] == INPUTS_ACCEPTED:
            yield f"{'; '.join(event['changed'])}. Reason given: {event['reason']}"


def _files(folder: RunFolder) -> list[tuple[str, Path]]:
    root = folder.inputs
    return [(path.relative_to(root).as_posix(), path) for path in sorted(root.rglob("*")) if not path.is_dir()]


def _content(path: Path) -> bytes | None:
    """The bytes of the file; None if it cannot be read or is not a plain file."""
    try:
        return read_bytes(path)
    except ArchiveError:
        return None


def _changes(expected: Mapping[str, str], found: Mapping[str, bytes | None], texts: Mapping[str, str]) -> Iterator[str]:
    for name, hashed in expected.items():
        content = found.get(name)
        if name not in found:
            yield f"{INPUTS}/{name} is missing"
        elif content is None:
            yield f"{INPUTS}/{name} cannot be read"
        elif _hash(content) != hashed:
            lines = "; ".join(_told(changed_lines(texts.get(name, ""), content.decode("utf-8", errors="replace"))))
            yield f"{INPUTS}/{name} was changed after the run began{': ' if lines else ''}{lines}"


def _told(changes: Sequence[str]) -> Sequence[str]:
    left = len(changes) - _MOST_TOLD
    return [*changes[:_MOST_TOLD], f"and {left} more lines"] if left > 0 else changes


def changed_lines(was: str, now: str) -> list[str]:
    """The lines that differ between two texts, in words; empty where the older text is unknown or either is long.

    Of lines that may name a person only their numbers are told: these words are published.
    """
    before, after = was.splitlines(), now.splitlines()
    if not was or max(len(before), len(after)) > _MOST_LINES:
        return []
    matcher = difflib.SequenceMatcher(None, before, after)
    old, new = _shown(before, private_lines(was)), _shown(after, private_lines(now))
    return [phrase for each in matcher.get_opcodes() for phrase in _phrases(old, new, *each)]


def _phrases(before: Sequence[str], after: Sequence[str], kind: str, *places: int) -> Iterator[str]:
    if kind == "equal":
        return
    old_from, old_to, new_from, new_to = places
    old, new = before[old_from:old_to], after[new_from:new_to]
    both = min(len(old), len(new))
    for offset in range(both):
        yield _changed(new_from + offset + 1, old[offset], new[offset])
    for offset, line in enumerate(old[both:], start=both):
        yield f"line {old_from + offset + 1}, {line}, was taken out"
    for offset, line in enumerate(new[both:], start=both):
        yield f"line {new_from + offset + 1}, {line}, was added"


def _changed(number: int, old: str, new: str) -> str:
    if old == new == _NOT_SHOWN:
        return f"line {number} is another one, {_NOT_SHOWN}"
    return f"line {number} was {old}, is {new}"


def _shown(lines: Sequence[str], private: Collection[int]) -> list[str]:
    return [_NOT_SHOWN if number in private else quote(line.strip()) for number, line in enumerate(lines, start=1)]


def _hash(content: bytes) -> str:
    return sha256(content).hexdigest()
