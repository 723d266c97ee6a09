"""Changes to a run folder, one at a time, drawn at random: what editors, disks, copies and people do to files."""

from __future__ import annotations

import io
import json
import os
import shutil
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from random import Random

import numpy as np

from benchctl.archive.journal.chain import FIELDS, sealed
from benchmarks.folder_fuzz.values import put_odd_value

Mutation = Callable[[Path, Random], str]  # changes a file, and says how
Mutate = Callable[[Path, Random], tuple[str, bool]]  # changes a folder; says how, and whether hashes were forged

JOURNAL, FIGURES, TREND, GUARDIAN = "journal.jsonl", "figures.csv", "trend.csv", "guardian.jsonl"
_UNPACKED = 50_000_000  # of a bomb: large enough to be refused, small enough to make quickly


# -- any file ------------------------------------------------------------------------------------------------------


def flip_a_bit(file: Path, random: Random) -> str:
    content = bytearray(file.read_bytes())
    place = random.randrange(len(content)) if content else 0
    if content:
        content[place] ^= 1 << random.randrange(8)
    file.write_bytes(bytes(content))
    return f"bit of byte {place}"


def cut_off(file: Path, random: Random) -> str:
    content = file.read_bytes()
    left = random.randrange(len(content)) if content else 0
    file.write_bytes(content[:left])
    return f"cut off behind {left} bytes"


def append_bytes(file: Path, random: Random) -> str:
    added = random.choice([b"\0" * 512, b"\n\n", b"x", b"{}\n", b"\xff\xfe", b"[" * 5000, b"\x1a"])
    file.write_bytes(file.read_bytes() + added)
    return f"{added[:8]!r} appended"


def other_line_ends(file: Path, _random: Random) -> str:
    file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    return "line ends of Windows"


def other_encoding(file: Path, random: Random) -> str:
    name = random.choice(["utf-16", "utf-8-sig"])
    file.write_bytes(file.read_bytes().decode("utf-8", errors="replace").encode(name))
    return f"saved as {name}"


def take_away(file: Path, _random: Random) -> str:
    file.unlink()
    return "taken away"


def make_pipe(file: Path, _random: Random) -> str:
    file.unlink()
    os.mkfifo(file)
    return "a pipe in its place"


def make_folder(file: Path, _random: Random) -> str:
    file.unlink()
    file.mkdir()
    return "a folder in its place"


def make_link(file: Path, random: Random) -> str:
    file.unlink()
    to = random.choice(["/dev/zero", "/dev/null", file.name, "../journal.jsonl", "/etc/passwd", "nowhere"])
    file.symlink_to(to)
    return f"a link to {to} in its place"


_ANY: Sequence[Mutation] = (
    *(flip_a_bit, flip_a_bit, cut_off, append_bytes, other_line_ends, other_encoding),
    *(take_away, make_pipe, make_folder, make_link),
)


# -- the journal ---------------------------------------------------------------------------------------------------


def _lines(file: Path) -> list[bytes]:
    return file.read_bytes().splitlines()


def _write(file: Path, lines: Sequence[bytes]) -> None:
    file.write_bytes(b"".join(line + b"\n" for line in lines))


def delete_line(file: Path, random: Random) -> str:
    lines = _lines(file)
    place = random.randrange(len(lines))
    _write(file, lines[:place] + lines[place + 1 :])
    return f"line {place + 1} deleted"


def double_line(file: Path, random: Random) -> str:
    lines = _lines(file)
    place = random.randrange(len(lines))
    _write(file, [*lines[: place + 1], *lines[place:]])
    return f"line {place + 1} doubled"


def swap_lines(file: Path, random: Random) -> str:
    lines = _lines(file)
    one, other = random.sample(range(len(lines)), 2)
    lines[one], lines[other] = lines[other], lines[one]
    _write(file, lines)
    return f"lines {one + 1} and {other + 1} swapped"


def edit_event(file: Path, random: Random) -> str:
    """Change an event, as somebody with an editor does."""
    lines = _lines(file)
    place = random.randrange(len(lines))
    event, what = _edited(lines[place], random)
    lines[place] = json.dumps(event).encode("ascii")
    _write(file, lines)
    return f"line {place + 1}: {what}"


def _edited(line: bytes, random: Random) -> tuple[dict[str, object], str]:
    try:
        event = json.loads(line)
    except ValueError:  # the torn last line of a run that was killed
        event = {"torn": line.decode()}
    return event, put_odd_value(event, random)


def edit_and_hash(file: Path, random: Random) -> str:
    """Change an event and write the hashes again. It is not promised that this is noticed."""
    lines = [line for line in _lines(file) if line.endswith(b"}")]
    place = random.randrange(len(lines))
    edited, what = _edited(lines[place], random)
    before = ""
    for number, line in enumerate(lines):
        event = edited if number == place else json.loads(line)
        body = json.dumps({name: value for name, value in event.items() if name not in FIELDS})
        lines[number], before = sealed(body.encode("ascii"), before)
    _write(file, lines)
    return f"line {place + 1} with its hashes: {what}"


def take_hashes_off(file: Path, _random: Random) -> str:
    whole = [json.loads(line) for line in _lines(file) if line.endswith(b"}")]
    bodies = ({name: value for name, value in event.items() if name not in FIELDS} for event in whole)
    _write(file, [json.dumps(body).encode("ascii") for body in bodies])
    return "hashes taken off"


def insert_line(file: Path, random: Random) -> str:
    lines = _lines(file)
    place = random.randrange(len(lines) + 1)
    lines.insert(place, random.choice([b"{}", b"", b"note", b'{"number": 3}', b"\0\0", lines[0]]))
    _write(file, lines)
    return f"a line put in before line {place + 1}"


# -- tables --------------------------------------------------------------------------------------------------------


def edit_cell(file: Path, random: Random) -> str:
    lines = file.read_text("utf-8").splitlines()
    row = random.randrange(len(lines))
    cells = lines[row].split(",")
    column = random.randrange(len(cells))
    cells[column] = random.choice(["", "x", "1e999", "nan", "-1", "9" * 400, '"', "\0", "0x10", cells[0], "1e5"])
    lines[row] = ",".join(cells)
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return f"line {row + 1}, cell {column + 1} is {cells[column][:10]!r}"


# -- captures ------------------------------------------------------------------------------------------------------


def swap_captures(file: Path, random: Random) -> str:
    other = random.choice([each for each in sorted(file.parent.iterdir()) if each != file] or [file])
    one, two = file.read_bytes(), other.read_bytes()
    file.write_bytes(two)
    other.write_bytes(one)
    return f"swapped with {other.name}"


def edit_member(file: Path, random: Random) -> str:
    """Replace one member of a capture by something else."""
    with np.load(file) as archive:
        members = dict(archive)
    name = random.choice(sorted(members))
    odd = [np.array(np.nan), np.array([1e300] * 8), np.array("x"), np.zeros((0, 0), np.int16), np.array([2**62] * 8)]
    members[name] = random.choice([*odd, members[name] * 2 if members[name].dtype.kind in "fi" else odd[2]])
    np.savez_compressed(file, **members)
    return f"{name} replaced"


def pickle_member(file: Path, _random: Random) -> str:
    with np.load(file) as archive:
        members = dict(archive)
    members["codes"] = np.array([{"a": 1}], dtype=object)
    np.savez(file, **members)
    return "codes pickled"


def bomb(file: Path, random: Random) -> str:
    """A file that is small on the disk and very large when unpacked, or that states such a size."""
    shape = random.choice([(1, _UNPACKED), (1, 10**12), (10**6, 10**6)])
    header = io.BytesIO()
    np.lib.format.write_array_header_1_0(header, {"descr": "<i2", "fortran_order": False, "shape": shape})
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("codes.npy", header.getvalue() + bytes(_UNPACKED))
    return f"a bomb that says it is {shape}"


# -- which ---------------------------------------------------------------------------------------------------------

_OF_JOURNAL: Sequence[Mutation] = (
    *(*_ANY, delete_line, delete_line, double_line, swap_lines, insert_line, take_hashes_off),
    *(edit_event, edit_event, edit_event, edit_event, edit_and_hash, edit_and_hash, edit_and_hash, edit_and_hash),
)
_OF_TABLE: Sequence[Mutation] = (*_ANY, delete_line, double_line, edit_cell, edit_cell, edit_cell)
_OF_CAPTURE: Sequence[Mutation] = (*_ANY, swap_captures, edit_member, edit_member, edit_member, pickle_member, bomb)
_OF_INPUT: Sequence[Mutation] = (*_ANY, delete_line, double_line, swap_lines)
_OF_FOLDER: Mapping[str, Sequence[Mutation]] = {
    JOURNAL: _OF_JOURNAL,
    FIGURES: _OF_TABLE,
    TREND: _OF_TABLE,
    GUARDIAN: (make_pipe, make_folder, append_bytes),
}
# Of a hundred changes, this many for each kind.
_WEIGHTS = {JOURNAL: 45, "captures": 20, "inputs": 15, FIGURES: 12, TREND: 6, GUARDIAN: 2}


def mutate(folder: Path, random: Random) -> tuple[str, bool]:
    """Change one thing in the folder; returns what and how, and whether its hashes were written again or removed."""
    (what,) = random.choices(list(_WEIGHTS), list(_WEIGHTS.values()))
    file = _file(folder, what, random)
    of_file = {"captures": _OF_CAPTURE, "inputs": _OF_INPUT}.get(what) or _OF_FOLDER[what]
    mutation = random.choice(of_file)
    return f"{file.relative_to(folder)}: {mutation(file, random)}", mutation in (edit_and_hash, take_hashes_off)


def _file(folder: Path, what: str, random: Random) -> Path:
    if what in {"captures", "inputs"}:
        return random.choice(sorted(path for path in (folder / what).rglob("*") if path.is_file()))
    file = folder / what
    if what == TREND and not file.exists():
        return folder / f"{TREND}.part"
    if what == GUARDIAN:
        file.touch()
    return file


def forget(folder: Path) -> None:
    """Remove the folder, in any state."""
    shutil.rmtree(folder)
