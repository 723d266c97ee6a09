"""Tells of the end of a run elsewhere: by a program of the user's, and on the desktop where there is one.

This comes after the safe state is confirmed or known not to be, and after the terminal has said so. What goes wrong
here is told and changes nothing: not the exit code, not the bench.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from benchctl.watch.now import State

# A program that takes longer is ended.
COMMAND_TIME_S = 10.0
NOTICE_TIME_S = 3.0
AT_END = "BENCHCTL_AT_END"
_DESKTOPS = ("DISPLAY", "WAYLAND_DISPLAY", "DBUS_SESSION_BUS_ADDRESS")
_LONGEST_COMPLAINT = 300


@dataclass(frozen=True)
class End:
    """How a run has ended.

    Attributes:
        state: as it is shown.
        title: of the sequence and the amplifier.
        sentence: how it ended, and whether everything is off.
        is_safe: every instrument confirmed the safe state.
        is_real_time: it took the time that it told.
    """

    state: State
    title: str
    sentence: str
    exit_code: int
    is_safe: bool
    folder: Path
    is_real_time: bool

    @property
    def text(self) -> str:
        """All of it in a sentence or two."""
        return f"{self.title}: {self.sentence}"

    def facts(self) -> dict[str, str]:
        """For a program: as variables of its environment."""
        return {
            "BENCHCTL_STATE": self.state,
            "BENCHCTL_EXIT_CODE": str(self.exit_code),
            "BENCHCTL_SAFE": "yes" if self.is_safe else "no",
            "BENCHCTL_RUN_FOLDER": str(self.folder.resolve()),
        }


def tell_at_end(command: Sequence[str], end: End) -> None:
    """Start the user's program, if there is one, with the end in words as its last argument; and tell the desktop."""
    if command:
        _start("the program of --at-end", [*command, end.text], end.facts(), COMMAND_TIME_S)
    notifier = shutil.which("notify-send")
    if notifier is not None and end.is_real_time and any(map(os.environ.get, _DESKTOPS)):
        urgency = "normal" if end.state == "finished" else "critical"
        _start("the desktop's notice", [notifier, "-u", urgency, "--", end.title, end.sentence], {}, NOTICE_TIME_S)


def _start(what: str, arguments: Sequence[str], facts: Mapping[str, str], time_s: float) -> None:
    environment = {name: value for name, value in os.environ.items() if name != AT_END}
    try:
        # A file, not a pipe: whatever that program starts may keep a pipe open for ever.
        with tempfile.TemporaryFile() as said:
            try:
                done = subprocess.run(
                    arguments,
                    check=False,
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=said,
                    timeout=time_s,
                    env={**environment, **facts},
                )
            except subprocess.TimeoutExpired:
                _warn(f"{what} took longer than {time_s:g} s and was ended")
                return
            if done.returncode:
                said.seek(0)
                complaint = said.read(_LONGEST_COMPLAINT).decode(errors="replace").strip()
                _warn(f"{what} failed with exit code {done.returncode}{f': {complaint}' if complaint else ''}")
    except (OSError, ValueError) as error:  # a program that is not there; a text that no program can be given
        _warn(f"{what} could not be started: {error}")
    except KeyboardInterrupt:
        _warn(f"{what} was ended by Ctrl-C")


def _warn(text: str) -> None:
    click.echo(f"Warning: {text}. The run itself is as it is told above.", err=True)
