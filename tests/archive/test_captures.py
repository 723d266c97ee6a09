"""A capture comes back from disk as it was, in a format that needs none of our code."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.archive.captures import encode_capture, load_capture, save_capture
from benchctl.archive.folder import RunFolder
from benchctl.errors import ArchiveError
from benchctl.measure.signal.record import Capture, Trace


def same(left: Capture, right: Capture) -> bool:
    """Whether two captures hold the same, name, bits and all; arrays do not compare as fields of a dataclass."""
    return _plain(left) == _plain(right)


def _plain(capture: Capture) -> tuple[object, ...]:
    traces = [
        (name, t.codes.dtype, t.codes.tolist(), t.scale, t.offset, t.unit, t.low_code, t.high_code)
        for name, t in capture.traces.items()
    ]
    return capture.name, capture.start_s, capture.interval_s, capture.taken_s, traces


def test_a_capture_comes_back_whole_under_the_name_of_its_file(folder: RunFolder, tone: Capture) -> None:
    file, _ = save_capture(folder, tone)
    assert file == "captures/0001-idle-channel-a-b.npz"
    assert same(load_capture(folder.path / file), replace(tone, name=file))


@settings(derandomize=True, max_examples=40, deadline=None)
@given(
    st.lists(st.integers(-32768, 32767), min_size=1, max_size=50),
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(min_value=1e-9, max_value=10.0),
    st.sampled_from(["output A", "supply current", "Ω/signal"]),
)
def test_every_code_and_every_float_keeps_its_bits(
    codes: list[int], offset: float, interval_s: float, name: str
) -> None:
    trace = Trace(np.array(codes, dtype=np.int16), 1.0 / 3.0, offset, "A", -32768, 32767)
    capture = Capture("x", -interval_s, interval_s, {name: trace, "output B": trace}, 0.1)
    assert same(_decoded(encode_capture(capture)), capture)


def _decoded(content: bytes) -> Capture:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as place:
        path = Path(place) / "x.npz"
        path.write_bytes(content)
        return replace(load_capture(path), name="x")


def test_the_same_capture_gives_the_same_bytes_on_any_day(tone: Capture) -> None:
    assert encode_capture(tone) == encode_capture(tone)
    with zipfile.ZipFile(io.BytesIO(encode_capture(tone))) as archive:
        assert {member.date_time for member in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_anyone_with_numpy_can_read_the_volts(folder: RunFolder, tone: Capture) -> None:
    with np.load(folder.path / save_capture(folder, tone)[0], allow_pickle=False) as archive:
        row = archive["signals"].tolist().index("output B")
        volts = archive["codes"][row] * archive["scale"][row] + archive["offset"][row]
        time_s = archive["start_s"] + archive["interval_s"] * np.arange(volts.size)
    np.testing.assert_array_equal(volts, tone.traces["output B"].values())
    assert time_s[0] == tone.start_s


@pytest.fixture
def small() -> bytes:
    trace = Trace(np.arange(40, dtype=np.int16), 0.1, 0.0, "V", -128, 127)
    return encode_capture(Capture("x", 0.0, 1e-3, {"output A": trace}, 1.0))


def test_a_file_cut_off_anywhere_is_an_archive_error_that_names_it(tmp_path: Path, small: bytes) -> None:
    path = tmp_path / "0001-x.npz"
    for length in range(0, len(small), 7):
        path.write_bytes(small[:length])
        with pytest.raises(ArchiveError, match=r"0001-x\.npz is not a whole capture"):
            load_capture(path)


def test_a_byte_changed_anywhere_never_gives_other_codes(tmp_path: Path, small: bytes) -> None:
    """The archive's checksums see to it; a byte that means nothing (a date, an attribute) may pass."""
    path = tmp_path / "0001-x.npz"
    path.write_bytes(small)
    sound = load_capture(path)
    refused = 0
    for place in range(0, len(small), 7):
        path.write_bytes(small[:place] + bytes([small[place] ^ 0xFF]) + small[place + 1 :])
        try:
            assert same(load_capture(path), sound)
        except ArchiveError:
            refused += 1
    assert refused > len(small) / 7 / 2


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"format": np.array("other 7")}, "its format is 'other 7'"),
        ({"codes": np.zeros((1, 4))}, "its codes are float64"),
        ({"codes": np.zeros((3, 4), dtype=np.int16)}, "3 rows of codes for 1 signals"),
        ({"scale": np.zeros(0)}, "is not a whole capture"),
        ({"low_code": np.array([127])}, "its lowest code is not below its highest"),
        ({"interval_s": np.array(0.0)}, "has no usable time base"),
        ({"units": np.array([{"a": 1}], dtype=object)}, "is not a whole capture"),
    ],
)
def test_members_that_do_not_belong_together_are_refused(
    tmp_path: Path, small: bytes, change: dict[str, np.ndarray], words: str
) -> None:
    path = tmp_path / "0001-x.npz"
    with np.load(io.BytesIO(small)) as archive:
        members = dict(archive) | change
    np.savez_compressed(path, allow_pickle=True, **members)
    with pytest.raises(ArchiveError, match=words):
        load_capture(path)


def test_a_bare_array_or_a_pickle_is_no_capture(tmp_path: Path) -> None:
    path = tmp_path / "0001-x.npz"
    for content in (b"\x93NUMPY\x01\x00", b"\x80\x04N.", b"PK\x03\x04"):
        path.write_bytes(content)
        with pytest.raises(ArchiveError, match="is not a whole capture"):
            load_capture(path)


def test_a_file_that_is_not_there_is_told(folder: RunFolder) -> None:
    with pytest.raises(ArchiveError, match="is gone"):
        load_capture(folder.captures / "0001-x.npz")


def test_a_capture_that_would_unpack_to_more_than_any_oscilloscope_gives_is_not_unpacked(tmp_path: Path) -> None:
    """300 MB of noughts in 300 kB."""
    path = tmp_path / "0001-x.npz"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("codes.npy", "w") as member:
        for _ in range(300):
            member.write(bytes(1_000_000))
    assert path.stat().st_size < 1_000_000
    with pytest.raises(ArchiveError, match="unpacked it would be 300 MB"):
        load_capture(path)
