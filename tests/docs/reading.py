"""A page read as its reader would: its commands are given in its order, its edits made, its files looked into."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from unittest.mock import patch

import pytest

from benchctl import library
from benchctl.cli.main import main
from benchctl.launch.simulated.serving import served
from tests.announcing import alone_on_the_air
from tests.pages import ROOT, Block, blocks
from tests.ports import free_ports

# What a page writes where the reader is to put the folder of the last run.
RUN_FOLDER = "RUN_FOLDER"


@dataclass(frozen=True)
class Ran:
    """A command of a page, what came of it, and the exit codes that the page allows."""

    command: str
    exit_code: int
    out: str
    err: str
    allowed: frozenset[int] = frozenset({0})


@dataclass(frozen=True)
class Excerpt:
    """What a page shows, and the whole that it is taken from: what was printed, or a file. `has_figures`: whether
    numbers in it are measured, and may move a little."""

    shown: str
    whole: str
    has_figures: bool


@dataclass
class Reading:
    """A page that is being read in a folder: each command as its block comes, each edit before the block behind it."""

    folder: Path
    ran: list[Ran] = field(default_factory=list)
    excerpts: list[Excerpt] = field(default_factory=list)
    going_on: contextlib.ExitStack = field(default_factory=contextlib.ExitStack)
    _ran: list[Ran] = field(default_factory=list)

    def block(self, block: Block) -> None:
        """Do what a block asks for."""
        for edit in block.told("edited"):
            self._edit(edit)
        if block.kind == "console" and "goes on" in block.notes:
            for command in block.commands:
                self._serve(command)
        elif block.kind == "console":
            with self._shorter(block.told("shorter")):
                self._ran = [
                    replace(give(command, self.folder), allowed=_allowed(command, block)) for command in block.commands
                ]
            self.ran += self._ran
        elif block.told("file"):
            (name,) = block.told("file")
            self.excerpts.append(Excerpt(block.text, (self.folder / name).read_text(encoding="utf-8"), False))
        elif block.kind == "text":
            printed = "".join(each.out + each.err for each in self._ran)
            measured = any(each.command.split()[1] in ("run", "preflight", "instruments", "new") for each in self._ran)
            self.excerpts.append(Excerpt(block.text, printed, measured))

    def _serve(self, command: str) -> None:
        """`benchctl simulate BENCH --amplifier AMPLIFIER --announce` in a second terminal, until the page is read; on
        ports that nobody else has."""
        _, simulate, bench, option, amplifier, *announce = shlex.split(command)
        assert (simulate, option, announce) == ("simulate", "--amplifier", ["--announce"]), command
        text = library.find("benches", bench).read_text(encoding="utf-8")
        ports = sorted(set(re.findall(r"::(\d+)::SOCKET", text)))
        for port, free in zip(ports, free_ports(len(ports)), strict=True):
            text = text.replace(f"::{port}::", f"::{free}::")
        served_bench = self.folder.parent / "served.yaml"
        served_bench.write_text(text, encoding="utf-8")
        self.going_on.enter_context(alone_on_the_air())
        self.going_on.enter_context(served(served_bench, amplifier, announce=True))

    @contextlib.contextmanager
    def _shorter(self, edits: Sequence[str]) -> Iterator[None]:
        """Where a test would take long over what the page shows: edits that are undone behind the block."""
        before = {path: path.read_bytes() for edit in edits for path in [self.folder / edit.partition(": ")[0]]}
        for edit in edits:
            self._edit(edit)
        yield
        for path, kept in before.items():
            path.write_bytes(kept)

    def last(self, beginning: str) -> Ran:
        """The last command that begins so."""
        return next(ran for ran in reversed(self.ran) if ran.command.startswith(beginning))

    def _edit(self, edit: str) -> None:
        """`FILE: OLD -> NEW`, where OLD stands once or more."""
        name, _, change = edit.partition(": ")
        old, _, new = change.partition(" -> ")
        path = self.folder / name
        text = path.read_text(encoding="utf-8")
        assert old in text, f"{name} has no {old!r} to edit"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")


def read_page(page: str, folder: Path) -> Reading:
    """Read a page in an empty folder; README is read in a checkout, of which the YAML matters here."""
    if page == "README.md":
        for name in ("sequences", "sim", "drivers"):
            shutil.copytree(ROOT / name, folder / name)
    reading = Reading(folder)
    with reading.going_on:
        for block in blocks(page, "console", "text", "yaml"):
            if not block.reason:
                reading.block(block)
    return reading


def _allowed(command: str, block: Block) -> frozenset[int]:
    """1 is a run that finished with a verdict that does not pass: a result."""
    told = block.told("exit code")
    if told:
        return frozenset(map(int, told))
    return frozenset({0, 1} if command.startswith("benchctl run") else {0})


SHIPPED = re.compile(r"benchctl run \w+ --bench \w+ --amplifier \w+ --dry-run")
_GIVEN: dict[str, tuple[Ran, Path]] = {}


def give(command: str, folder: Path) -> Ran:
    """A `benchctl` command in a folder, in this process; Enter is pressed wherever something is asked for.

    A dry run of shipped files is made once, and copied to every other page that shows it: two leave the same bytes
    (tests/launch/test_dry_run.py).
    """
    if not SHIPPED.fullmatch(command):
        return _given(command, folder)
    if command not in _GIVEN:
        ran, newest = _given(command, folder), folder / _newest_run(folder)
        kept = Path(tempfile.mkdtemp(dir=folder.parent)) / newest.name
        shutil.copytree(newest, kept)
        _GIVEN[command] = ran, kept
    else:
        ran, kept = _GIVEN[command]
        shutil.copytree(kept, folder / "runs" / kept.name)
    return ran


def _given(command: str, folder: Path) -> Ran:
    words, _, file = command.partition(" > ")
    name, *arguments = shlex.split(words)
    assert name == "benchctl", f"{command!r} is none of ours; say in a comment why it is not run"
    arguments = [_newest_run(folder) if argument == RUN_FOLDER else argument for argument in arguments]
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(folder),
        patch("sys.stdin", io.StringIO("\n" * 100)),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        pytest.raises(SystemExit) as ended,
    ):
        main(arguments)
    assert isinstance(ended.value.code, int)
    if file:
        (folder / file).write_text(out.getvalue(), encoding="utf-8")
    return Ran(command, ended.value.code, out.getvalue(), err.getvalue())


def _newest_run(folder: Path) -> str:
    newest = max((folder / "runs").iterdir(), key=lambda path: path.stat().st_mtime_ns)
    return str(newest.relative_to(folder))
