"""Instruments that are nothing but a switch on a socket, and a guardian process to talk to."""

from __future__ import annotations

import socket
import subprocess
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from benchctl.guard.guardian.orders import Orders
from benchctl.guard.guardian.start import start_process
from benchctl.instruments.safe_part import SafePart

# Nothing here takes a tenth of this; it only keeps a broken program from holding the tests up for ever.
DEADLINE_S = 30.0
# No process has this number: a guardian may end the run that it takes for hung, and here that would be pytest.
NOBODY = 2**31 - 1


class Switch:
    """Answers OUTP? and obeys OUTP OFF, over as many links at a time as `links` says.

    Args:
        name: as in a bench file.
        heard: what any switch of this bench was told, in order.
        deaf: it answers nothing.
        sticks: so many commands to switch off are lost on it.
        links: how many links it takes at a time; None: any number.
    """

    def __init__(
        self, name: str, heard: list[str], *, deaf: bool = False, sticks: int = 0, links: int | None = None
    ) -> None:
        self.name = name
        self.is_on = True
        self.told_off = threading.Event()
        self._heard = heard
        self._deaf = deaf
        self._sticks = sticks
        self._room = threading.Semaphore(links) if links else None
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._links: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def part(self) -> SafePart:
        """Its part of the safe state."""
        return SafePart(self.name, f"TCPIP::127.0.0.1::{self.port}::SOCKET", "output off", ("OUTP OFF",), ("OUTP?",))

    def close(self) -> None:
        """Pull the plug."""
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)  # a thread that waits in accept() would keep it open
        self._listener.close()
        for link in self._links:
            link.close()

    def _accept(self) -> None:
        while True:
            if self._room is not None:
                self._room.acquire()
            try:
                link, _ = self._listener.accept()
            except OSError:
                return
            self._links.append(link)
            threading.Thread(target=self._serve, args=(link,), daemon=True).start()

    def _serve(self, link: socket.socket) -> None:
        try:
            with link, link.makefile("r", encoding="ascii") as lines:
                for line in lines:
                    self._obey(link, line.strip())
        except (OSError, ValueError):
            pass  # the plug was pulled
        if self._room is not None:
            self._room.release()

    def _obey(self, link: socket.socket, message: str) -> None:
        self._heard.append(f"{self.name}: {message}")
        if message == "OUTP OFF":
            self._sticks -= 1
            self.is_on = self._sticks >= 0
            self.told_off.set()
        elif not self._deaf:
            link.sendall(b"1\n" if self.is_on else b"0\n")


class GuardianProcess:
    """A guardian, and this process in the place of the run."""

    def __init__(self, plan: Sequence[SafePart], report: Path, **orders: Any) -> None:
        self.process = start_process(subprocess.PIPE)
        orders.setdefault("run_pid", NOBODY)
        orders.setdefault("turn", "")
        orders.setdefault("patience_s", DEADLINE_S)
        self.say(Orders(tuple(plan), str(report), **orders).to_line())

    def say(self, line: str) -> None:
        """Send it a line."""
        assert self.process.stdin is not None
        self.process.stdin.write(line.encode("ascii") + b"\n")

    def hear(self) -> str:
        """The next word it says; nothing once it has ended."""
        assert self.process.stdout is not None
        word = b""
        while not word.endswith(b"\n") and (piece := self.process.stdout.read(1)):
            word += piece
        return word.decode("ascii").strip()

    def hear_said(self, words: str) -> str:
        """What it says on the terminal, until it has said `words`."""
        assert self.process.stderr is not None
        said = ""
        while words not in said:
            piece = self.process.stderr.read(1)
            assert piece, said
            said += piece.decode("utf-8")
        return said

    def hang_up(self) -> None:
        """What the system does when a run dies."""
        assert self.process.stdin is not None
        self.process.stdin.close()

    def end(self) -> tuple[int, str]:
        """Wait for its end; exit code and what it said on the terminal."""
        assert self.process.stderr is not None
        code = self.process.wait(DEADLINE_S)
        return code, self.process.stderr.read().decode("utf-8")

    def close(self) -> None:
        """Be rid of it."""
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()


@contextmanager
def guardian(plan: Sequence[SafePart], report: Path, **orders: Any) -> Iterator[GuardianProcess]:
    """A guardian that stands ready."""
    process = GuardianProcess(plan, report, **orders)
    try:
        assert process.hear() == "ready"
        yield process
    finally:
        process.close()
