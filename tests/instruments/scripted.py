"""A TCP peer that behaves as a test tells it to: it answers, is silent, answers late or twice, hangs up, or resets."""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Callable
from types import TracebackType

IDENTITY = "Invented,Peer,1,0"

Answer = Callable[["Conversation", str], None]


class Conversation:
    """One accepted connection."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection

    def reply(self, data: bytes) -> None:
        self._connection.sendall(data)

    def hang_up(self) -> None:
        self._connection.shutdown(socket.SHUT_RDWR)

    def reset(self) -> None:
        self._connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        raise ConnectionAbortedError  # leaving the conversation closes it, which sends the reset


class ScriptedPeer:
    """Serves one connection after another; `answer` is called for each line but *IDN?, *ESR? and SYST:ERR?."""

    def __init__(self, answer: Answer, *, events: list[str] | None = None, clients: int | None = None) -> None:
        self._answer = answer
        self._room = threading.Semaphore(clients) if clients else None  # whoever comes when it is full is not heard
        self.heard: list[str] = []
        self.connections = 0
        self.overdue: list[bytes] = []  # answers that come just before the next identity
        self.standard_events: list[
            bytes
        ] = []  # what *ESR? is answered in turn, and then 0; an empty one is not an answer
        self._events = events if events is not None else []
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self.address = f"TCPIP::127.0.0.1::{self.port}::SOCKET"
        threading.Thread(target=self._serve, daemon=True).start()

    def __enter__(self) -> ScriptedPeer:
        return self

    def __exit__(self, *error: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)  # wakes accept(), which holds the port open otherwise
        self._server.close()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            self.connections += 1
            threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _talk(self, connection: socket.socket) -> None:
        conversation = Conversation(connection)
        if self._room is not None:
            self._room.acquire()
        try:
            with connection, connection.makefile("rb") as lines:
                for line in lines:
                    self._hear(conversation, line.decode("ascii").strip())
        except OSError:
            return
        finally:
            if self._room is not None:
                self._room.release()

    def _hear(self, conversation: Conversation, text: str) -> None:
        self.heard.append(text)
        self._events.append(text)
        if text == "*IDN?":
            while self.overdue:
                conversation.reply(self.overdue.pop(0))
            conversation.reply(IDENTITY.encode() + b"\n")
        elif text == "*ESR?":
            events = self.standard_events.pop(0) if self.standard_events else b"0"
            conversation.reply(events + b"\n" if events else b"")
        else:
            self._answer(conversation, text)
