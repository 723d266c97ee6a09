"""What a query's handler may return, and how it is written in the response (IEEE 488.2 chapter 8)."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.scpi.blocks import encode_block
from benchctl.scpi.numbers import format_nr1, format_nr3

Scalar = str | bytes | float | int | bool
Answer = Scalar | Sequence[Scalar]


def quoted(text: str) -> str:
    """`text` as string response data: in double quotes; a quote inside is doubled (IEEE 488.2 8.7.8)."""
    return '"{}"'.format(text.replace('"', '""'))


def encode_answer(answer: Answer) -> bytes:
    """The bytes of an answer.

    A str goes out as it is (see `quoted`), bytes as a definite-length block, a bool as 1 or 0, an int in NR1, a float
    in NR3 with nan and infinities as SCPI-99 writes them; a sequence is joined by commas.
    """
    if isinstance(answer, str):
        return answer.encode("latin-1", "replace")
    if isinstance(answer, float):
        return format_nr3(answer).encode("ascii")
    if isinstance(answer, int):  # bool is an int
        return format_nr1(answer).encode("ascii")
    if isinstance(answer, bytes):
        return encode_block(answer)
    return b",".join([encode_answer(part) for part in answer])
