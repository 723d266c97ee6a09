"""Two runs never share a bench, whatever they call it; and the first is not disturbed by what the second tries."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.errors import PreflightRefused
from benchctl.launch.opened import opened_bench
from benchctl.launch.simulated.serving import served
from benchctl.runner.acting.run import Files
from tests.ports import free_port
from tests.runner.rig import amplifier_file, document, sequence_file, shipped

# Each reaches 127.0.0.1 (RFC 6943, 3.1.1); on Linux so does 0.0.0.0.
SPELLINGS = (
    "TCPIP::127.0.0.1::{port}::SOCKET",
    "tcpip::127.0.0.1::{port}::socket",
    "TCPIP0::127.0.0.1::{port}::SOCKET",
    "TCPIP3::127.0.0.1::{port}::SOCKET",
    "TCPIP::0177.0.0.1::{port}::SOCKET",
    "TCPIP::127.1::{port}::SOCKET",
    "TCPIP::2130706433::{port}::SOCKET",
    "TCPIP::0x7f.0.0.1::{port}::SOCKET",
    "TCPIP::LocalHost::{port}::SOCKET",
    "TCPIP::0.0.0.0::{port}::SOCKET",
)


@dataclass(frozen=True)
class ServedBench:
    """A bench file's text, and where each of its instruments answers on a raw socket."""

    text: str
    sockets: Mapping[str, tuple[str, int]]


def at(text: str, role: str, address: str) -> str:
    """The bench file with this role at this address."""
    begin = text.index("address: ", text.index(f"  {role}:\n")) + len("address: ")
    return text[:begin] + address + text[text.index("\n", begin) :]


def at_free_ports(text: str) -> str:
    return re.sub(r"TCPIP::127\.0\.0\.1::\d+", lambda _: f"TCPIP::127.0.0.1::{free_port()}", text)


def files(text: str) -> Files:
    return Files(sequence_file("power_off"), document(text, "bench", Bench), amplifier_file())


@contextmanager
def bench_at(text: str, folder: Path) -> Iterator[ServedBench]:
    file = folder / "bench.yaml"
    file.write_text(text)
    with served(file, "hx2150") as instruments:
        yield ServedBench(text, {role: each.socket for role, each in instruments.items()})


@pytest.fixture(scope="module")
def in_use(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBench]:
    """A bench that a run has open; it reaches the supply by HiSLIP, which is not its only door."""
    text = at(
        at_free_ports(shipped("benches", "workshop")), "supply", f"TCPIP::localhost::hislip0,{free_port()}::INSTR"
    )
    with bench_at(text, tmp_path_factory.mktemp("bench")) as bench, opened_bench(files(text), dry_run=False):
        yield bench


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_a_second_run_is_refused_however_it_spells_one_address(spelling: str, in_use: ServedBench) -> None:
    """The other instruments of the second run's file are where nobody is: it does not come so far."""
    address = spelling.format(port=in_use.sockets["load"][1])
    second = files(at(at_free_ports(in_use.text), "load", address))
    with pytest.raises(PreflightRefused, match="in use by another run"), opened_bench(second, dry_run=False):
        pass


def test_a_second_run_that_comes_by_another_door_is_refused_for_the_serial_number_behind_it(
    in_use: ServedBench, tmp_path: Path
) -> None:
    host, port = in_use.sockets["supply"]
    with bench_at(at_free_ports(shipped("benches", "workshop")), tmp_path) as other:
        second = files(at(other.text, "supply", f"TCPIP::{host}::{port}::SOCKET"))
        with pytest.raises(PreflightRefused, match="the supply, which says it is"), opened_bench(second, dry_run=False):
            pass


def test_who_is_refused_has_taken_nothing_from_the_run_that_has_the_bench(in_use: ServedBench, tmp_path: Path) -> None:
    """*ESR? would take the bits that tell of a power cycle (IEEE 488.2, 11.5.1.2); *OPC leaves one to look at."""
    host, port = in_use.sockets["supply"]
    with bench_at(at_free_ports(shipped("benches", "workshop")), tmp_path) as other:
        second = files(at(other.text, "supply", f"TCPIP::{host}::{port}::SOCKET"))
        with socket.create_connection((host, port), timeout=10) as link:
            link.sendall(b"*ESR?;*OPC;*IDN?\n")
            assert link.makefile().readline()
            with pytest.raises(PreflightRefused), opened_bench(second, dry_run=False):
                pass
            link.sendall(b"*ESR?\n")
            assert link.makefile().readline() == "1\n"


def test_each_served_instrument_has_a_serial_number_of_its_own_and_keeps_it_when_served_again(tmp_path: Path) -> None:
    def identities() -> dict[str, str]:
        with bench_at(text, tmp_path), opened_bench(files(text), dry_run=False) as opened:
            return opened.bench.identities()

    text = at_free_ports(shipped("benches", "workshop"))
    first = identities()
    assert len({identity.split(",")[2] for identity in first.values()}) == len(first)
    assert identities() == first


def test_dry_runs_lock_nothing_and_answer_the_same_each_time(in_use: ServedBench) -> None:
    with opened_bench(files(in_use.text), dry_run=True) as one:
        before = one.bench.identities()
    with opened_bench(files(in_use.text), dry_run=True) as another:
        assert another.bench.identities() == before
        assert another.lock is None
