"""Starts the program many times at the price of one: a process that has imported it forks for each start.

What is started is to a test like any other program: a child of the test's process, in its process group or in a session
of its own, with the environment, the folder and the inputs and outputs it was given and nothing else open. Only on
Linux can a forked process be handed over to the test's process; elsewhere each start is a new interpreter.
"""

from __future__ import annotations

import atexit
import ctypes
import fcntl
import gc
import json
import os
import platform
import socket
import subprocess
import sys
import termios
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

PROGRAM = "from benchctl.cli.main import main; main()"
_TAKE_TERMINAL = (
    "import fcntl, os, sys, termios; os.setsid(); fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "os.execv(sys.argv[1], sys.argv[1:])"
)
COMMANDS = ("manual", "run", "safe", "simulate")
SOON_NEEDED = (
    "benchctl.launch.run",
    "benchctl.launch.safe",
    "benchctl.launch.simulated.serving",
    "benchctl.python.at_bench.opened_bench",
    "benchctl.report.page",
    "pyvisa_py",
    "rich.live",
)
# linux/prctl.h: a process that loses its parent is given to the nearest ancestor that asks for it.
PR_SET_CHILD_SUBREAPER = 36
MOST_BYTES = 1 << 20


def begin(arguments: Sequence[str], *, terminal: bool = False, **options: Any) -> subprocess.Popen[str]:
    """The program with these arguments, or Python with them if they begin with -c; the other ones are those of
    `subprocess.Popen`.

    Args:
        terminal: its input is a terminal that it takes as its own, so that it hears when that closes.
    """
    if platform.system() == "Linux":
        return Forked(arguments, terminal=terminal, **options)
    before = ["-c", _TAKE_TERMINAL, sys.executable] if terminal else []
    program = [] if arguments[0] == "-c" else ["-c", PROGRAM]
    command = [sys.executable, *before, *program, *arguments]
    return subprocess.Popen(command, text=True, encoding="utf-8", **options)


class Forked(subprocess.Popen[str]):
    """`subprocess.Popen`, but for how the process comes about."""

    def __init__(self, arguments: Sequence[str], *, terminal: bool = False, **options: Any) -> None:
        self._terminal = terminal
        super().__init__(arguments, text=True, encoding="utf-8", **options)

    def _execute_child(self, *given: Any) -> None:
        """The one place where Popen starts a process; what it is given stands in the order of Popen's own method."""
        arguments, _, _, _, _, folder, environment, *_ = given
        pipes, session = given[10:16], given[21]
        ends = (pipes[0], pipes[3], pipes[5])
        files = [standard if end == -1 else end for standard, end in enumerate(ends)]
        how = {
            "arguments": list(arguments),
            "environment": dict(os.environ if environment is None else environment),
            "folder": str(folder or Path.cwd()),
            "session": session or self._terminal,
            "terminal": self._terminal,
        }
        with _given_orphans():
            socket.send_fds(_forker(), [json.dumps(how).encode("utf-8")], files)
            self.pid = int(_forker().recv(MOST_BYTES))
        self._child_created = True
        self._close_pipe_fds(*pipes)  # type: ignore[attr-defined] # Popen's own, which its stubs leave out


@contextmanager
def _given_orphans() -> Iterator[None]:
    """For as long as a process changes hands; a guardian that outlives its run must not come here."""
    _prctl(1)
    try:
        yield
    finally:
        _prctl(0)


def _prctl(on: int) -> None:
    if ctypes.CDLL(None, use_errno=True).prctl(PR_SET_CHILD_SUBREAPER, on, 0, 0, 0):
        raise OSError(ctypes.get_errno(), "prctl")


@cache
def _forker() -> socket.socket:
    """The wire to this process's forker, which ends with it."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with theirs:
        # Whoever looks for the program by the words of a command line must find what is forked, too.
        command = [sys.executable, "-P", __file__, str(theirs.fileno()), "benchctl"]
        process = subprocess.Popen(command, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL)
    atexit.register(process.wait)
    atexit.register(ours.close)  # called before that, as the last registered is the first
    return ours


def _next_start(wire: socket.socket) -> Mapping[str, Any] | None:
    """Fork at each request; returns in a forked process, with what it is to be, and at the end of the wire."""
    while True:
        message, files, _, _ = socket.recv_fds(wire, MOST_BYTES, 3)
        if not message:
            return None
        between, told = os.pipe()
        child = os.fork()
        if not child:
            # Its own child becomes an orphan.
            if grandchild := os.fork():
                os.write(told, str(grandchild).encode("ascii"))
                os._exit(0)
            for each in (between, told):
                os.close(each)
            wire.close()
            how: Mapping[str, Any] = json.loads(message)
            _become(how, files)
            return how
        os.waitpid(child, 0)
        wire.send(os.read(between, MOST_BYTES))
        for each in (between, told, *files):
            os.close(each)


def _become(how: Mapping[str, Any], files: Sequence[int]) -> None:
    """What the system and the interpreter do at the start of a program."""
    for standard, file in enumerate(files):
        os.dup2(file, standard)
        os.close(file)
    if how["session"]:
        os.setsid()
    if how["terminal"]:
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    os.chdir(how["folder"])
    os.environ.clear()
    os.environ.update(how["environment"])
    sys.argv[:] = ["-c", *how["arguments"]]
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115 - open to the end of the program
    sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", 1, encoding="utf-8", errors="backslashreplace", closefd=False)  # noqa: SIM115


def _main() -> None:
    from benchctl.cli.main import main

    for command in COMMANDS:
        import_module(f"benchctl.cli.commands.{command}")
    for module in SOON_NEEDED:
        import_module(module)
    _read_documents()
    gc.collect()
    gc.freeze()
    how = _next_start(socket.socket(fileno=int(sys.argv[1])))
    if how is not None:
        _perform(how["arguments"], main)


def _read_documents() -> None:
    """The first of each kind takes a quarter of a second: its model is made then."""
    from benchctl.documents.reader import load_amplifier, load_bench, load_sequence

    load_bench("workshop")
    load_sequence("quick_check", load_amplifier("hx2150"))


def _perform(arguments: Sequence[str], main: Callable[[Sequence[str]], None]) -> None:
    if arguments[0] != "-c":
        main(arguments)
        return
    _, program, *others = arguments
    sys.argv[:] = ["-c", *others]
    exec(compile(program, "<string>", "exec"), {"__name__": "__main__"})


if __name__ == "__main__":
    _main()
