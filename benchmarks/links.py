"""The computing time of links: a long block, and a question and its answer, beside what the system itself needs."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import Any

import numpy as np
import pyvisa

from benchctl.clock import RealClock
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.questions import Questions
from benchctl.instruments.oscilloscope.samples import Coded, Form, from_codes, in_numbers
from benchctl.instruments.session import Session
from benchmarks.rows import Row
from benchmarks.timing import medians

BLOCK_BYTES = 10_000_000
REPEATS = 9
EXCHANGES = 500
TIMEOUT_S = 10.0
WORDS = Form("uint16", "low_first")
ASKED = Questions(identify=(), power_cycled=None, errors=None)


def rows() -> Iterator[Row]:
    """A block, and an exchange."""
    with _instrument() as port:
        session = Session("oscilloscope", _address(port), Interlock(RealClock()), questions=ASKED)
        session.open()
        with closing(session), closing(socket.create_connection(("127.0.0.1", port))) as link:
            yield _block(session, link)
            yield _exchange(session, port)


def _block(session: Session, link: socket.socket) -> Row:
    """Codes as a trace keeps them, beside the bytes alone."""
    buffer = memoryview(bytearray(BLOCK_BYTES + 11))

    def bare() -> None:
        link.sendall(b"DATA?\n")
        got = 0
        while got < len(buffer):
            got += link.recv_into(buffer[got:])

    def ours() -> Coded:
        return from_codes(in_numbers(session.ask_block("DATA?", TIMEOUT_S), WORDS), 1e-3, 0.0)

    bare_s, ours_s = medians(bare, ours, repeats=REPEATS)
    return Row(
        "a block of 10 MB, read and scaled",
        f"{ours_s / bare_s:.1f} times a bare recv_into",
        "at most 6",
        f"{ours_s * 1e3:.1f} ms and {bare_s * 1e3:.1f} ms over loopback",
    )


def _exchange(session: Session, port: int) -> Row:
    """The session's, with its locks and checks, beside pyvisa-py's own."""
    resource: Any = pyvisa.ResourceManager("@py").open_resource(
        _address(port), read_termination="\n", write_termination="\n"
    )

    def own() -> None:
        for _ in range(EXCHANGES):
            resource.query("MEAS:VOLT?")

    def ours() -> None:
        for _ in range(EXCHANGES):
            session.ask("MEAS:VOLT?")

    with closing(resource):
        own_s, ours_s = medians(own, ours, repeats=REPEATS)
    return Row(
        "a question and its answer",
        f"{ours_s / own_s:.2f} times pyvisa-py's own",
        "at most 1.5",
        f"{ours_s / EXCHANGES * 1e6:.0f} us and {own_s / EXCHANGES * 1e6:.0f} us over loopback",
    )


def _address(port: int) -> str:
    return f"TCPIP::127.0.0.1::{port}::SOCKET"


@contextmanager
def _instrument() -> Iterator[int]:
    """Answers DATA? with a block and anything else with a number, on the port that is given."""
    data = np.random.default_rng(1).integers(0, 65536, BLOCK_BYTES // 2, dtype=np.uint16).tobytes()
    block = b"#8%08d" % len(data) + data + b"\n"

    def talk(link: socket.socket) -> None:
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with link, link.makefile("rb") as lines:
            for line in lines:
                link.sendall(block if line == b"DATA?\n" else b"1.44E+01\n")

    def serve() -> None:
        while True:
            try:
                link, _ = listener.accept()
            except OSError:
                return
            threading.Thread(target=talk, args=(link,), daemon=True).start()

    with closing(socket.create_server(("127.0.0.1", 0))) as listener:
        threading.Thread(target=serve, daemon=True).start()
        yield listener.getsockname()[1]
        listener.shutdown(socket.SHUT_RDWR)
