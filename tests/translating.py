"""A translator as another package would have it, and an instrument that speaks its frames."""

from __future__ import annotations

import socket
import threading
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from benchctl.translators import GROUP

BEGIN, END = 0x02, 0x03


class CheckedFrames:
    """Text between two marks, with a checksum of two hexadecimal digits."""

    def encode(self, line: str) -> bytes:
        if not line.isprintable() or not line.isascii():
            raise ValueError("only plain text is framed")
        return framed(line)

    def decode(self, received: bytes) -> tuple[str | None, bytes]:
        if received[0] != BEGIN:
            raise ValueError("no mark of a beginning")
        end = received.find(bytes([END]))
        if end < 0:
            return None, received
        body, given = received[1 : end - 2], received[end - 2 : end]
        if given != checksum(body):
            raise ValueError(f"its checksum is {given.decode('latin-1')}")
        return body.decode("ascii"), received[end + 1 :]


def checksum(body: bytes) -> bytes:
    return b"%02X" % (sum(body) & 0xFF)


def framed(line: str) -> bytes:
    body = line.encode("ascii")
    return bytes([BEGIN]) + body + checksum(body) + bytes([END])


def installed(folder: Path, name: str = "checked_frames") -> Path:
    """A folder that makes a package with the translator importable, as if it were installed there."""
    (folder / "framed_supply.py").write_text("from tests.translating import CheckedFrames\n", encoding="utf-8")
    info = folder / "framed_supply-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: framed-supply\nVersion: 1.0\n", encoding="utf-8")
    (info / "entry_points.txt").write_text(f"[{GROUP}]\n{name} = framed_supply:CheckedFrames\n", encoding="utf-8")
    return folder


class FramedInstrument:
    """Hears frames on a raw socket of loopback and answers in frames, in two pieces each."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self._answers = answers
        self.heard: list[str] = []
        self.garbled: set[str] = set()  # what it answers with a wrong checksum
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    @property
    def address(self) -> str:
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    def close(self) -> None:
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _serve(self) -> None:
        with suppress(OSError):
            while True:
                link, _ = self._listener.accept()
                threading.Thread(target=self._talk, args=(link,), daemon=True).start()

    def _talk(self, link: socket.socket) -> None:
        translator, received = CheckedFrames(), b""
        with suppress(OSError), link:
            while piece := link.recv(4096):
                received += piece
                while received:
                    line, received = translator.decode(received)
                    if line is None:
                        break
                    self.heard.append(line)
                    if line in self._answers:
                        answer = framed(self._answers[line])
                        if line in self.garbled:
                            answer = answer[:-3] + b"00" + answer[-1:]
                        link.sendall(answer[:3])
                        link.sendall(answer[3:])
