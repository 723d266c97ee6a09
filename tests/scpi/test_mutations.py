"""Random and mutated messages bring down neither device nor link, and leave nothing that grows.

The suite runs a few thousand. BENCHCTL_MUTATIONS=100000 runs the campaign.
"""

from __future__ import annotations

import os
from random import Random
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.device.conversation import Conversation
from tests.scpi.conformance import RULES

if TYPE_CHECKING:
    from conftest import Bench

MUTATIONS = int(os.environ.get("BENCHCTL_MUTATIONS", "4000"))
INPUT_BOUND = 4096
ERROR_QUEUE_SIZE = 5

GOOD = [
    *(step.message.encode() for rule in RULES for step in rule.steps if len(step.message) < 80),
    b"INST:NSEL 2;:SOUR:VOLT 12.5 V;VOLT?",
    b"OUTP2:STAT ON;:FUNC CHAN1;:LIST:DWEL 1 MS,2,3;COUN INF",
    b'DISP:TEXT "a;b,""c""";:TRAC:DATA #15a\nb;c;:TRAC:DATA?',
    b"ROUT:CLOS (@101,102:105);CLOS? (@101)",
    b"INIT;*WAI;*OPC?;:FETC?;:VOLT? MAX",
]
PIECES = [b";", b":", b"*", b"?", b",", b" ", b"\r", b"\n", b'"', b"'", b"#", b"#0", b"#19", b"#9", b"(", b"(@", b")",
          b"\x00", b"\xff", b"1E9", b"-", b".", b"MAX", b"#HF", b"9" * 300, b"A" * 13]  # fmt: skip


def mutate(random: Random, message: bytes) -> bytes:
    """One to four cuts, swaps, doublings and foreign pieces."""
    for _ in range(random.randint(1, 4)):
        at, to = sorted(random.choices(range(len(message) + 1), k=2))
        message = random.choice(
            [
                message[:at] + message[to:],
                message[:to] + message[at:to] + message[to:],
                message[:at] + random.choice(PIECES) + message[at:],
                message[:at] + random.choice(PIECES) + message[to:],
                message[:at] + random.randbytes(to - at) + message[to:],
                message[:at] + random.choice(GOOD) + message[to:],
            ]
        )
    return message


def feed_in_pieces(link: Conversation, stream: bytes, random: Random) -> None:
    while stream:
        size = random.choice([1, 2, 7, 1000])
        link.receive(stream[:size])
        stream = stream[size:]


def test_mutated_messages_leave_a_device_that_answers(bench: Bench) -> None:
    """After each, and without a device clear unless it opened a block, the next question has its answer."""
    random = Random(488)
    link = Conversation(bench.device, input_bound=INPUT_BOUND)
    for _ in range(MUTATIONS):
        message = mutate(random, random.choice(GOOD))
        feed_in_pieces(link, message + b"\n", random)
        bench.is_acquiring = False
        link.resume()
        link.collect()
        if b"#" in message:
            link.clear()
        link.receive(b"*CLS\n*OPC?\n")
        assert link.collect() == b"1\n", message
        assert not link.is_waiting


def test_a_stream_of_mutations_without_a_pause_stays_within_its_bounds(bench: Bench) -> None:
    """Nobody reads, nobody clears: input, output and error queue keep to their sizes."""
    random = Random(99)
    link = Conversation(bench.device, input_bound=INPUT_BOUND, output_bound=1000)
    for _ in range(MUTATIONS // 4):
        message = mutate(random, random.choice(GOOD))
        link.receive(message + b"\n")
        bench.is_acquiring = random.random() < 0.5
        assert len(bench.device.errors) <= ERROR_QUEUE_SIZE
    assert len(link.collect()) < 10_000
    link.clear()
    link.receive(b"*OPC?\n")
    bench.is_acquiring = False
    link.resume()
    assert link.collect() == b"1\n"


@pytest.mark.parametrize("interruptible", [False, True])
def test_every_splice_of_pieces_is_survived(bench: Bench, interruptible: bool) -> None:
    """The same by hypothesis, which shrinks what it finds."""

    @settings(derandomize=True, max_examples=300, deadline=None, database=None)
    @given(st.lists(st.sampled_from([*GOOD, *PIECES]), max_size=8).map(b"".join), st.booleans())
    def survive(stream: bytes, end: bool) -> None:
        link = Conversation(bench.device, input_bound=INPUT_BOUND, interruptible=interruptible)
        link.receive(stream, end=end)
        bench.is_acquiring = False
        link.resume()
        link.clear()
        link.receive(b"*CLS;*OPC?\n")
        assert link.collect() == b"1\n"

    survive()
