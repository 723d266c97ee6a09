"""Checks for what others write for benchctl: call them in the tests of your own package.

`check_translator` holds a translator to what the program relies on. It raises an AssertionError that says what is
broken.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise

from benchctl.translators import Translator

# A line that no driver file can hold: a translator must not send something for it.
_NO_LINE = "no line of any driver file: \x00"


def check_translator(
    make: Callable[[], Translator], sent: Mapping[str, bytes], answered: Mapping[bytes, str], *, garbled: bytes
) -> None:
    """Hold a translator to its contract.

    Args:
        make: what the entry point names.
        sent: lines of the driver file with the bytes that the instrument's manual gives for them.
        answered: answers of the instrument, each whole, with the lines that stand for them.
        garbled: an answer that must be refused, such as one with a wrong checksum.

    Raises:
        AssertionError: it breaks the contract; the text says how.
    """
    assert isinstance(make(), Translator), "it needs the methods 'encode' and 'decode'"
    for line, frame in sent.items():
        assert make().encode(line) == frame, f"{line!r} is sent as {make().encode(line)!r} and must be {frame!r}"
    _check_that_unknown_lines_are_refused(make())
    for frame, line in answered.items():
        _check_answer(make, frame, line)
    frames = list(answered)
    for first, second in pairwise(frames):
        _check_two_answers(make, first, second, answered)
    _check_that_it_is_refused(make(), garbled)


def _check_that_unknown_lines_are_refused(translator: Translator) -> None:
    try:
        frame = translator.encode(_NO_LINE)
    except ValueError:
        return
    raise AssertionError(f"a line that it cannot know is sent, as {frame!r}; it must raise a ValueError")


def _check_answer(make: Callable[[], Translator], frame: bytes, line: str) -> None:
    assert make().decode(frame) == (line, b""), f"{frame!r} is {make().decode(frame)!r} and must be {(line, b'')!r}"
    assert "\n" not in line, f"an answer is one line, not {line!r}"
    for cut in range(1, len(frame)):
        # Links give an answer in pieces of any size.
        found = make().decode(frame[:cut])
        assert found == (None, frame[:cut]), f"{cut} bytes of {frame!r} are taken for a whole answer: {found!r}"


def _check_two_answers(
    make: Callable[[], Translator], first: bytes, second: bytes, answered: Mapping[bytes, str]
) -> None:
    found = make().decode(first + second)
    assert found == (answered[first], second), f"of two answers at once it makes {found!r}"


def _check_that_it_is_refused(translator: Translator, garbled: bytes) -> None:
    try:
        found = translator.decode(garbled)
    except ValueError:
        return
    raise AssertionError(f"{garbled!r} must be refused with a ValueError, and is {found!r}")
