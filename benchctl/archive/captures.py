"""Captures on disk: one `.npz` for each record, in an open format that numpy reads without this program.

======================  =====================================================================================
member                  holds
======================  =====================================================================================
format                  'benchctl capture 2'; 'benchctl capture 1' has neither zero nor zero_limit
signals, units          names and units, one for each signal
codes                   int16, shape (signals, samples): the converter's own numbers
scale, offset, zero     float64, one for each signal: value = codes * scale + offset - zero, in the signal's unit; zero
                        is what the input showed with nothing at its probe, 0 where that was not taken
zero_limit              float64, one a signal: by how much its zero may still be off; NaN where it was not taken
low_code, high_code     int64, one for each signal: a code at or beyond one of them is clipped
start_s, interval_s     first sample's time from the trigger, and time between samples
taken_s                 when, on the run's clock
======================  =====================================================================================
"""

from __future__ import annotations

import io
import lzma
import math
import struct
import zipfile
import zlib
from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.errors import ArchiveError, MeasurementError
from benchctl.measure.signal.record import Capture, Trace

FORMAT = "benchctl capture 2"
# Before zeros were taken.
_FORMAT_WITHOUT_ZERO = "benchctl capture 1"

_MEMBERS = (
    *("format", "signals", "units", "codes", "scale", "offset"),
    *("low_code", "high_code", "start_s", "interval_s", "taken_s"),
)
_MEMBERS_OF_ZERO = ("zero", "zero_limit")
# Of zlib's nine: of 106 records, 40 MB, it makes 9.8 MB in 0.5 s, where level 6 makes 9.5 MB in 1.7 s.
_COMPRESS_LEVEL = 4
# Eight signals of twelve million samples.
_MOST_UNPACKED_BYTES = 200_000_000

# Before the text of a member's header: numpy's six bytes of magic, two of version, two of the text's length.
_HEADER_BEGIN = 10

# What zip archive, decompressor, numpy's header and the members raise when bytes have changed.
_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    OSError,
    EOFError,
    RuntimeError,
    MemoryError,
    ArithmeticError,
    ValueError,
    LookupError,
    TypeError,
)


def save_capture(folder: RunFolder, capture: Capture) -> tuple[str, str]:
    """Store a capture under the folder's next number; returns the name of its file, such as 'captures/0007-burst.npz',
    and the file's SHA-256.

    Raises:
        ArchiveError: it cannot be written.
    """
    file = folder.next_capture_file(capture.name)
    content = encode_capture(capture)
    folder.write_atomically(file, content)
    return file, sha256(content).hexdigest()


def encode_capture(capture: Capture) -> bytes:
    """The bytes of the file: the same bytes for the same capture, because zipfile gives each member a fixed date."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=_COMPRESS_LEVEL) as archive:
        for name, values in _arrays(capture).items():
            with archive.open(f"{name}.npy", "w", force_zip64=True) as member:
                np.lib.format.write_array(member, values, allow_pickle=False)
    return buffer.getvalue()


def _arrays(capture: Capture) -> Mapping[str, NDArray[Any]]:
    traces = list(capture.traces.values())
    return {
        "format": np.array(FORMAT),
        "signals": np.array(list(capture.traces)),
        "units": np.array([trace.unit for trace in traces]),
        "codes": np.stack([trace.codes.astype(np.int16, casting="safe", copy=False) for trace in traces]),
        "scale": np.array([trace.scale for trace in traces]),
        "offset": np.array([trace.offset for trace in traces]),
        "zero": np.array([float(trace.zero) for trace in traces]),
        "zero_limit": np.array([np.nan if trace.zero_limit is None else trace.zero_limit for trace in traces]),
        "low_code": np.array([trace.low_code for trace in traces], dtype=np.int64),
        "high_code": np.array([trace.high_code for trace in traces], dtype=np.int64),
        "start_s": np.array(float(capture.start_s)),
        "interval_s": np.array(float(capture.interval_s)),
        "taken_s": np.array(float(capture.taken_s)),
    }


def load_capture(path: Path) -> Capture:
    """Read a capture; its name is that of the file with its folder: 'captures/0007-burst.npz'.

    Raises:
        ArchiveError: the file is not there, or is not a whole capture.
    """
    content = read_bytes(path)
    try:
        return _capture(_members(content), f"{path.parent.name}/{path.name}")
    except _BROKEN as error:
        raise ArchiveError(f"{path} is not a whole capture: {error}") from error
    except MeasurementError as error:
        raise ArchiveError(f"{path} is not a usable capture: {error}") from error


def _members(content: bytes) -> dict[str, Any]:
    """The known members. Each is unpacked to at most the size it states, and all together to at most the bound."""
    if not content.startswith(b"PK"):
        raise ValueError("it is not a zip archive")
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        unpacked = sum(member.file_size for member in archive.infolist())
        if unpacked > _MOST_UNPACKED_BYTES:
            raise ValueError(f"unpacked it would be {unpacked / 1e6:.0f} MB")
        members = {name: _array(archive, name) for name in _MEMBERS}
        if str(members["format"]) == _FORMAT_WITHOUT_ZERO:
            count = len(members["signals"])
            return {**members, "zero": np.zeros(count), "zero_limit": np.full(count, np.nan)}
        return {**members, **{name: _array(archive, name) for name in _MEMBERS_OF_ZERO}}


def _array(archive: zipfile.ZipFile, name: str) -> NDArray[Any]:
    """As `numpy.load` gives it, in a third of the time: the headers of a folder's captures are nearly all alike."""
    data = archive.read(f"{name}.npy")
    begin = _HEADER_BEGIN + int.from_bytes(data[_HEADER_BEGIN - 2 : _HEADER_BEGIN], "little")
    shape, dtype = _header(data[:begin])
    return np.frombuffer(data, dtype, math.prod(shape), begin).reshape(shape)


@lru_cache(maxsize=256)
def _header(head: bytes) -> tuple[tuple[int, ...], np.dtype[Any]]:
    """The shape and the type of what follows the beginning of a member, which is in version 1.0 of numpy's format."""
    file = io.BytesIO(head)
    if np.lib.format.read_magic(file) != (1, 0):
        raise ValueError("it has a member in another version of numpy's format")
    shape, is_by_columns, dtype = np.lib.format.read_array_header_1_0(file)
    if is_by_columns or dtype.hasobject or min(shape, default=0) < 0:
        raise ValueError(f"it has a member of {dtype} that no run wrote")
    return shape, dtype


def _capture(members: Mapping[str, Any], name: str) -> Capture:
    if str(members["format"]) not in (FORMAT, _FORMAT_WITHOUT_ZERO):
        raise ValueError(f"its format is '{members['format']}', not '{FORMAT}'")
    codes = members["codes"]
    if codes.dtype != np.int16 or codes.ndim != 2:
        raise ValueError(f"its codes are {codes.dtype} of shape {codes.shape}, not int16 of (signals, samples)")
    signals = [str(signal) for signal in members["signals"]]
    if len(signals) != len(codes):
        raise ValueError(f"it has {len(codes)} rows of codes for {len(signals)} signals")
    return Capture(
        name=name,
        start_s=float(members["start_s"]),
        interval_s=float(members["interval_s"]),
        traces={signal: _trace(members, row) for row, signal in enumerate(signals)},
        taken_s=float(members["taken_s"]),
    )


def _trace(members: Mapping[str, Any], row: int) -> Trace:
    if not int(members["low_code"][row]) < int(members["high_code"][row]):
        raise ValueError("its lowest code is not below its highest")
    zero_limit = float(members["zero_limit"][row])
    if np.isinf(zero_limit) or zero_limit < 0.0:
        raise ValueError("what its zero may be off by is no limit")
    return Trace(
        codes=members["codes"][row],
        scale=float(members["scale"][row]),
        offset=float(members["offset"][row]),
        unit=str(members["units"][row]),
        low_code=int(members["low_code"][row]),
        high_code=int(members["high_code"][row]),
        zero=float(members["zero"][row]),
        zero_limit=None if np.isnan(zero_limit) else zero_limit,
    )
