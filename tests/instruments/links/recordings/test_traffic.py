"""What a recording keeps, and what is read of it again."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.errors import UsageError
from benchctl.instruments.links.recordings.traffic import Exchange, Recording, read_recording

SEEN = [
    Exchange(0.5, "supply", "run", "*IDN?", b"Invented,Peer,1,0\n", 0.125, number=1),
    Exchange(1.25, "oscilloscope", "run", "WAV:DATA?", b"#13\x00\xff\x80\n", number=2),
    Exchange(1.5, "supply", "guard", "MEAS:VOLT?", b"", 2.0, "NoAnswer", "no answer in time", 3),
    Exchange(2.0, "supply", "run", "OUTP OFF", number=4),
]


def keep(path: Path, exchanges: list[Exchange], **settings: int) -> Recording:
    recording = Recording(lambda: 0.0, **settings)
    recording.note(exchanges[0])  # before there is a file
    recording.keep_in(path, {"settings": {"level": "1 W"}})
    for each in exchanges[1:]:
        recording.note(each)
    recording.close()
    return recording


def test_all_that_was_kept_is_read_again(tmp_path: Path) -> None:
    keep(tmp_path / "traffic", SEEN)
    found = read_recording(tmp_path / "traffic")
    assert found.exchanges == tuple(SEEN)
    assert found.about["settings"] == {"level": "1 W"}
    assert found.is_whole


def test_of_one_that_was_cut_off_all_is_read_up_to_there(tmp_path: Path) -> None:
    """As after a kill: at most the last fifty exchanges are lost."""
    many = [Exchange(float(n), "supply", "run", f"Q{n}?", b"%d\n" % n, number=n) for n in range(1000)]
    keep(tmp_path / "traffic", many)
    data = (tmp_path / "traffic").read_bytes()
    (tmp_path / "cut").write_bytes(data[: len(data) * 3 // 4])
    found = read_recording(tmp_path / "cut")
    assert not found.is_whole
    assert 600 < len(found.exchanges) < 1000
    assert found.exchanges == tuple(many[: len(found.exchanges)])


def test_a_recording_has_a_bound_and_says_that_it_was_reached(tmp_path: Path) -> None:
    noise = [Exchange(float(n), "supply", "run", f"{n * 7919 % 1000003}?", number=n) for n in range(2000)]
    recording = keep(tmp_path / "traffic", noise, largest_bytes=2000)
    assert "reached" in recording.ended_early
    assert (tmp_path / "traffic").stat().st_size < 4000
    found = read_recording(tmp_path / "traffic")
    assert not found.is_whole
    assert found.exchanges == tuple(noise[: len(found.exchanges)])


def test_a_full_disk_ends_the_recording_and_holds_nothing_up() -> None:
    """/dev/full takes nothing (Linux, full(4))."""
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("this system has no /dev/full")
    recording = Recording(lambda: 0.0)
    recording._file = full.open("wb", buffering=0)
    for n in range(200):
        recording.note(Exchange(float(n), "supply", "run", "OUTP OFF"))
    assert "No space left" in recording.ended_early
    recording.close()


@pytest.mark.parametrize("content", [b"", b"OUTP OFF\n", b'{"benchctl": "sequence 1"}\n'])
def test_what_is_no_recording_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "file").write_bytes(content)
    with pytest.raises(UsageError, match="no recording"):
        read_recording(tmp_path / "file")


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"cannot read .*missing"):
        read_recording(tmp_path / "missing")


def test_they_are_read_in_the_order_in_which_they_began(tmp_path: Path) -> None:
    """One that waits long for its answer ends after others that began later."""
    keep(tmp_path / "traffic", [SEEN[0], SEEN[2], SEEN[3], SEEN[1]])
    assert read_recording(tmp_path / "traffic").exchanges == tuple(SEEN)


def test_a_file_that_unpacks_to_more_than_any_recording_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(tmp_path / "traffic", [Exchange(0.0, "supply", "run", "A" * 100_000)])
    monkeypatch.setattr("benchctl.instruments.links.recordings.traffic._Lines.longest_unpacked", 50_000)
    with pytest.raises(UsageError, match="no recording"):
        read_recording(tmp_path / "traffic")
