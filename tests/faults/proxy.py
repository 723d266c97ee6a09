"""A TCP proxy between a run and one instrument, which disturbs links as networks and instruments do."""

from __future__ import annotations

import os
import socket
import struct
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Address = tuple[str, int]
Whose = Literal["run", "all"]
_RECEIVE_BYTES = 1 << 16
_LOOK_UP_S = 0.02


@dataclass(frozen=True)
class Fault:
    """What happens to a disturbed link.

    Attributes:
        name: for people.
        commands: "pass", or "lost" (all except questions), or "all lost" (questions too).
        delay_s: each answer comes this much later.
        drip_s: an answer comes one byte at a time, with this many seconds between; 0: at once.
        cut: answers lack their second half and their end.
        garble: answers are meaningless bytes.
        lost: no answer comes.
        closes_after: the link is closed after this many answers; None: it is not closed.
        ends: "closed" or "reset" as soon as it is disturbed or opened.
        refuses: nothing listens any more, as far as this is possible for one client only.
    """

    name: str
    commands: Literal["pass", "lost", "all lost"] = "pass"
    delay_s: float = 0.0
    drip_s: float = 0.0
    cut: bool = False
    garble: bool = False
    lost: bool = False
    closes_after: int | None = None
    ends: Literal["", "closed", "reset"] = ""
    refuses: bool = False

    @property
    def lets_commands_through(self) -> bool:
        """Whether an instrument behind it can be switched off over it."""
        return self.commands == "pass" and not self.ends and not self.refuses


FAULTS = (
    Fault("accepts and never answers", commands="all lost"),
    Fault("loses its answers", lost=True),
    Fault("answers slowly", delay_s=0.7),
    Fault("answers very slowly", delay_s=1.6),
    Fault("answers too late", delay_s=3.0),
    Fault("drips its answers", drip_s=0.3),
    Fault("cuts its answers short", cut=True),
    Fault("answers with noise", garble=True),
    Fault("closes after an answer", closes_after=1),
    Fault("closes after three answers", closes_after=3),
    Fault("loses commands and answers questions", commands="lost"),
    Fault("is closed", ends="closed"),
    Fault("is reset", ends="reset"),
    Fault("is reset and refuses new links", ends="reset", refuses=True),
)


class Proxy:
    """Stands in front of one instrument; without faults until `strike`.

    Args:
        port: where it listens on 127.0.0.1.
        instrument: where the instrument is.
        one_client: a second link is taken only once the first is closed.
    """

    def __init__(self, port: int, instrument: Address, *, one_client: bool = False) -> None:
        self.port = port
        self._instrument = instrument
        self._room = threading.Semaphore(1) if one_client else None
        self._fault: Fault | None = None
        self._whose: Whose = "all"
        self._run_pid = 0
        self._links: set[_Link] = set()
        self._is_open = True
        self._listener = _listener(port)
        threading.Thread(target=self._accept, daemon=True).start()

    def strike(self, fault: Fault, whose: Whose, run_pid: int) -> None:
        """From now on `fault` is on every link, or on those of the run's process, new ones too."""
        self._run_pid, self._whose, self._fault = run_pid, whose, fault
        if fault.refuses and whose == "all":
            _close(self._listener)
        for link in list(self._links):
            if fault.ends and self.fault_of(link) is fault:
                link.end(fault.ends)

    def heal(self) -> None:
        """Without faults again for new links; open ones are closed."""
        fault, self._fault = self._fault, None
        for link in list(self._links):
            link.end("closed")
        if fault is not None and fault.refuses and self._whose == "all":
            self._listener = _listener(self.port)
            threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """Stop listening and close every link."""
        self._is_open = False
        _close(self._listener)
        for link in list(self._links):
            link.end("closed")

    def fault_of(self, link: _Link) -> Fault | None:
        """The present fault of a link."""
        fault = self._fault
        if fault is None or self._whose == "all" or link.belongs_to(self._run_pid):
            return fault
        return None

    def _accept(self) -> None:
        listener = self._listener
        while self._is_open:
            try:
                client, peer = listener.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(client, peer[1]), daemon=True).start()

    def _serve(self, client: socket.socket, peer_port: int) -> None:
        if self._room is not None:
            self._room.acquire()
        try:
            link = _Link(client, peer_port, socket.create_connection(self._instrument), self.fault_of)
            self._links.add(link)
            fault = self.fault_of(link)
            if fault is not None and fault.ends:
                link.end(fault.ends)
            link.pass_on()
            self._links.discard(link)
        finally:
            client.close()
            if self._room is not None:
                self._room.release()


class _Link:
    """One client's link, and the one to the instrument that belongs to it."""

    def __init__(
        self, client: socket.socket, peer_port: int, server: socket.socket, fault: Callable[[_Link], Fault | None]
    ) -> None:
        self._client = client
        self._server = server
        self._peer_port = peer_port
        self._fault = fault
        self._owner: dict[int, bool] = {}
        self._answers = 0
        for end in (client, server):
            end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def belongs_to(self, pid: int) -> bool:
        """Whether a process has the client's end of it; looked up once."""
        if pid not in self._owner:
            self._owner[pid] = _has_socket(pid, self._peer_port)
        return self._owner[pid]

    def end(self, how: str) -> None:
        """Close or reset it."""
        if how == "reset":
            with suppress(OSError):
                self._client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        for end in (self._client, self._server):
            _close(end, reset=how == "reset")

    def pass_on(self) -> None:
        """Both ways, until an end is closed."""
        back = threading.Thread(target=self._pass_answers, daemon=True)
        back.start()
        with suppress(OSError), self._client.makefile("rb") as lines:
            for line in lines:
                self._pass_message(line)
        _close(self._server)
        back.join()

    def _pass_message(self, line: bytes) -> None:
        commands = "pass" if (fault := self._fault(self)) is None else fault.commands
        if commands == "all lost" or (commands == "lost" and b"?" not in line):
            return
        self._server.sendall(line)

    def _pass_answers(self) -> None:
        with suppress(OSError):
            while answer := self._server.recv(_RECEIVE_BYTES):
                self._pass_answer(answer)
        _close(self._client)

    def _pass_answer(self, answer: bytes) -> None:
        fault = self._fault(self)
        if fault is None:
            self._client.sendall(answer)
            return
        if fault.lost:
            return
        time.sleep(fault.delay_s)
        for piece in _pieces(fault, answer):
            self._client.sendall(piece)
            time.sleep(fault.drip_s)
        self._answers += 1
        if fault.closes_after is not None and self._answers >= fault.closes_after:
            self.end("closed")


def _pieces(fault: Fault, answer: bytes) -> list[bytes]:
    if fault.garble:
        return [bytes(byte ^ 0xA5 for byte in answer[:-1]) + b"\n"]
    if fault.cut:
        return [answer[: len(answer) // 2]]
    return [bytes([byte]) for byte in answer] if fault.drip_s else [answer]


def _listener(port: int) -> socket.socket:
    return socket.create_server(("127.0.0.1", port))


def _close(end: socket.socket, *, reset: bool = False) -> None:
    """Wake a thread that waits on it, and close; a link that is reset must not be shut down normally before."""
    with suppress(OSError):
        end.shutdown(socket.SHUT_RD if reset else socket.SHUT_RDWR)
    end.close()


def _has_socket(pid: int, port: int) -> bool:
    """Whether a process has the socket at this port of 127.0.0.1 (Linux: /proc/net/tcp, proc(5))."""
    inode = _inode(port)
    if inode is None:
        return False
    descriptors = Path(f"/proc/{pid}/fd")
    with suppress(OSError):
        for descriptor in descriptors.iterdir():
            with suppress(OSError):
                if os.readlink(descriptor) == f"socket:[{inode}]":
                    return True
    return False


def _inode(port: int) -> str | None:
    own = f"0100007F:{port:04X}"
    lines = Path("/proc/net/tcp").read_text("ascii").splitlines()[1:]
    fields = (line.split() for line in lines)
    return next((each[9] for each in fields if each[1] == own and each[9] != "0"), None)
