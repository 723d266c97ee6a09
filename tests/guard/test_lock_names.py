"""One instrument has one name for its locks, however its address is written; two instruments never share one."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.guard.lock_names import file_name, names_of_address, names_of_identity


@pytest.mark.parametrize(
    "other",
    [
        "tcpip::127.0.0.1::5025::socket",
        " TCPIP0::127.0.0.1::5025::SOCKET ",
        "TCPIP1::127.0.0.1::5025::SOCKET",
        "TCPIP::127.0.0.1::05025::SOCKET",
        "TCPIP::127.1::5025::SOCKET",
        "TCPIP::127.0.1::5025::SOCKET",
        "TCPIP::2130706433::5025::SOCKET",
        "TCPIP::0x7f.0.0.1::5025::SOCKET",
        "TCPIP::0177.0.0.1::5025::SOCKET",
        "TCPIP::0.0.0.0::5025::SOCKET",
        "TCPIP::localhost::5025::SOCKET",
        "TCPIP::LocalHost::5025::SOCKET",
    ],
)
def test_a_socket_is_the_same_however_its_host_is_written(other: str) -> None:
    """RFC 6943, 3.1.1: one IPv4 address has many spellings, which inet_aton reads."""
    assert names_of_address("TCPIP::127.0.0.1::5025::SOCKET") & names_of_address(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("TCPIP::192.0.2.7::hislip0::INSTR", "TCPIP::192.0.2.7::HiSLIP0,4880"),
        ("TCPIP::192.0.2.7", "TCPIP2::192.0.2.7::inst0::INSTR"),
        ("GPIB::7", "GPIB0::07::INSTR"),
        ("GPIB::7::2", "GPIB0::7::98::INSTR"),
        ("USB::0x1AB1::0x0E11::DP8A0001::INSTR", "USB1::6833::0x0e11::dp8a0001::0"),
        ("VICP::192.0.2.7::INSTR", "vicp::192.0.2.7"),
    ],
)
def test_what_goes_without_saying_makes_no_other_instrument(one: str, other: str) -> None:
    assert names_of_address(one) == names_of_address(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("TCPIP::192.0.2.7::5025::SOCKET", "TCPIP::192.0.2.7::5026::SOCKET"),
        ("TCPIP::192.0.2.7::5025::SOCKET", "TCPIP::192.0.2.8::5025::SOCKET"),
        ("TCPIP::192.0.2.7::hislip0::INSTR", "TCPIP::192.0.2.7::hislip1::INSTR"),
        ("TCPIP::192.0.2.7::hislip0::INSTR", "TCPIP::192.0.2.7::hislip0,4881::INSTR"),
        ("TCPIP::192.0.2.7::inst0::INSTR", "TCPIP::192.0.2.7::gpib0,7::INSTR"),
        ("TCPIP::192.0.2.7,1024::inst0::INSTR", "TCPIP::192.0.2.7,1025::inst0::INSTR"),
        ("GPIB0::7::INSTR", "GPIB1::7::INSTR"),
        ("GPIB0::7::INSTR", "GPIB0::7::0::INSTR"),
        ("USB::0x1AB1::0x0E11::DP8A0001", "USB::0x1AB1::0x0E11::DP8A0002"),
    ],
)
def test_instruments_behind_one_gateway_or_of_one_model_are_told_apart(one: str, other: str) -> None:
    assert not names_of_address(one) & names_of_address(other)


def test_a_name_that_cannot_be_resolved_is_a_name_of_its_own() -> None:
    """RFC 6761, 6.4: nothing has a name that ends in .invalid."""
    assert names_of_address("TCPIP::Supply.invalid::5025::SOCKET") == {"TCPIP::supply.invalid::5025::SOCKET"}


def test_a_link_to_a_serial_port_is_that_port(tmp_path: Path) -> None:
    (tmp_path / "ttyUSB0").touch()
    (tmp_path / "by-id").symlink_to(tmp_path / "ttyUSB0")
    assert names_of_address(f"ASRL{tmp_path}/by-id::INSTR") == names_of_address(f"ASRL{tmp_path}/ttyUSB0::INSTR")


def test_an_identity_is_a_name_by_maker_model_and_serial_number() -> None:
    """IEEE 488.2, 10.14.3: maker, model, serial number, firmware; new firmware makes no other instrument."""
    assert names_of_identity("Invented,Supply,S1,2.0") == names_of_identity("INVENTED, Supply ,s1,2.1") != set()
    assert names_of_identity("Invented,Supply,S1,2.0") != names_of_identity("Invented,Supply,S2,2.0")


@pytest.mark.parametrize("identity", ["Invented,Supply,0,2.0", "Invented,Supply,,2.0", "Invented,Supply, 000 ,2.0", ""])
def test_an_identity_without_a_serial_number_is_no_name(identity: str) -> None:
    """IEEE 488.2, 10.14.3: 0 stands for a serial number that is not available."""
    assert names_of_identity(identity) == set()


@pytest.mark.parametrize("name", ["../../etc/passwd", "a/b", ".", "", "x" * 500, "\0\n"])
def test_a_files_name_is_one_in_its_folder_whatever_the_instrument_answers(name: str) -> None:
    file = file_name(name)
    assert file == Path(file).name
    assert file.isprintable()
    assert len(file) < 255


def test_names_that_differ_in_a_sign_have_files_of_their_own() -> None:
    assert file_name("IDN::A,B,S-1") != file_name("IDN::A,B,S+1")
