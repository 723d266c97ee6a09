"""A run knows an address that `benchctl simulate` serves, however it is written, for as long as it is served."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.errors import UsageError
from benchctl.launch.simulated.served_addresses import is_served, kept_as_served

SOCKET = "TCPIP::127.0.0.1::15021::SOCKET"
HISLIP = "TCPIP::127.0.0.1::hislip0,4880::INSTR"


@pytest.mark.parametrize("address", [SOCKET, "TCPIP0::localhost::15021::SOCKET", "tcpip::127.0.0.1::15021::socket"])
def test_it_is_known_while_it_is_served_however_it_is_written(tmp_path: Path, address: str) -> None:
    with kept_as_served([SOCKET], tmp_path):
        assert is_served(address, tmp_path)
    assert not is_served(address, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_other_addresses_are_not(tmp_path: Path) -> None:
    with kept_as_served([SOCKET, HISLIP], tmp_path):
        assert is_served(HISLIP, tmp_path)
        assert not is_served("TCPIP::127.0.0.1::15022::SOCKET", tmp_path)
        assert not is_served("TCPIP::192.0.2.7::15021::SOCKET", tmp_path)


def test_two_benches_are_served_side_by_side(tmp_path: Path) -> None:
    with kept_as_served([SOCKET], tmp_path):
        with kept_as_served([HISLIP], tmp_path):
            assert is_served(SOCKET, tmp_path)
            assert is_served(HISLIP, tmp_path)
        assert is_served(SOCKET, tmp_path)


@pytest.mark.parametrize("left", [f'["{SOCKET}"]', "", "nonsense", "5", "[" * 100_000])
def test_a_list_that_a_killed_process_left_behind_says_nothing(tmp_path: Path, left: str) -> None:
    (tmp_path / "simulated-1.json").write_text(left)
    assert not is_served(SOCKET, tmp_path)


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with (
        pytest.raises(UsageError, match="cannot write the list of simulated addresses"),
        kept_as_served([SOCKET], tmp_path / "file"),
    ):
        pass
