"""A sound file whose samples are volts: RIFF WAVE with 64-bit floating-point numbers, 1.0 for one volt.

"Multimedia Programming Interface and Data Specifications 1.0" (IBM and Microsoft, 1991) defines RIFF, WAVE, `cue ` and
`LIST`; "New Multimedia Data Types and Data Techniques" (Microsoft, 1994) the format code 3, IEEE float, which needs
`fact`.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np

from benchctl.errors import UsageError
from benchctl.measure.signal.record import Samples

_IEEE_FLOAT, _BYTES = 3, 8
# Sizes and rates are 32-bit numbers.
_MOST = 2**32 - 1


def wave_file(channels: Sequence[Samples], sample_rate_hz: float, *, comment: str, cue: int | None = None) -> bytes:
    """The bytes of the file.

    Args:
        channels: the samples of each channel, all of the same number.
        sample_rate_hz: it is written as a whole number.
        comment: what a person must know who has this file alone.
        cue: the sample at which a mark is put, if it lies in the record.

    Raises:
        UsageError: the record is too long or too fast for such a file.
    """
    samples = np.column_stack([np.asarray(channel, dtype="<f8") for channel in channels])
    count, width = samples.shape
    rate_hz = whole_rate_hz(sample_rate_hz)
    chunks = [
        _chunk(
            b"fmt ",
            struct.pack(
                "<HHIIHHH",
                *(_IEEE_FLOAT, width, rate_hz, min(rate_hz * width * _BYTES, _MOST), width * _BYTES, 8 * _BYTES, 0),
            ),
        ),
        _chunk(b"fact", struct.pack("<I", count)),
        _chunk(b"LIST", b"INFO" + _chunk(b"ICMT", comment.encode("utf-8") + b"\0")),
    ]
    if cue is not None and 0 <= cue < count:
        chunks.append(_chunk(b"cue ", struct.pack("<III4sIII", 1, 1, cue, b"data", 0, 0, cue)))
    chunks.append(_chunk(b"data", samples.tobytes()))
    return _chunk(b"RIFF", b"WAVE" + b"".join(chunks))


def whole_rate_hz(sample_rate_hz: float) -> int:
    """The rate that the file can hold.

    Raises:
        UsageError: it can hold none.
    """
    rate_hz = round(sample_rate_hz)
    if not 1 <= rate_hz <= _MOST:
        raise UsageError(f"a sound file cannot hold {sample_rate_hz:g} samples a second")
    return rate_hz


def _chunk(name: bytes, content: bytes) -> bytes:
    if len(content) > _MOST - 8:
        raise UsageError("the record is longer than a sound file can be, 4 GB")
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)
