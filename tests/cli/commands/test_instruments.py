"""`instruments` lists what answers, and says hello to the instruments of a bench file; it sets nothing."""

from __future__ import annotations

import socket
from pathlib import Path

from benchctl import library
from benchctl.launch.simulated.serving import served
from benchmarks.forms.supplies import FORMS
from tests.announcing import alone_on_the_air
from tests.cli.conftest import Command
from tests.cli.files import bench, bench_on_free_ports, written
from tests.ports import free_port

FORM = {each.speaks: each for each in FORMS}
LOOPBACK = next(name for _, name in socket.if_nameindex() if name.startswith("lo"))


def test_each_given_address_is_asked_and_the_others_are_left_alone(benchctl: Command, tmp_path: Path) -> None:
    nobody = f"TCPIP::127.0.0.1::{free_port()}::SOCKET"
    with served(bench_on_free_ports(tmp_path), "hx2150") as instruments:
        supply = instruments["supply"].address
        ended = benchctl("instruments", supply, nobody, "--json")
    by_address = {each["address"]: each for each in ended.data["instruments"]}
    assert ended.exit_code == 0
    assert by_address.keys() == {supply, nobody}
    assert by_address[supply]["identity"].startswith("benchctl,Dc supply,")
    assert by_address[nobody]["identity"] is None
    assert "nothing answers" in by_address[nobody]["problem"]


def test_where_none_of_the_given_addresses_answers_the_exit_code_says_so(benchctl: Command) -> None:
    ended = benchctl("instruments", f"TCPIP::127.0.0.1::{free_port()}::SOCKET")
    assert ended.exit_code == 5
    assert "nothing answers on 127.0.0.1" in ended.out


def test_what_announces_itself_is_found_and_asked(benchctl: Command, tmp_path: Path) -> None:
    with alone_on_the_air(), served(bench_on_free_ports(tmp_path), "hx2150", announce=True) as instruments:
        ended = benchctl("instruments", "--interface", LOOPBACK)
    assert ended.exit_code == 0
    for each in instruments.values():
        assert each.address in ended.out
    assert "thermometer/scpi99" in ended.out, "the driver file that fits"


def test_hello_to_a_simulated_bench_shows_every_instrument_and_that_nothing_is_on(benchctl: Command) -> None:
    ended = benchctl("instruments", "--bench", "workshop", "--simulated", "--json")
    by_role = {each["role"]: each for each in ended.data["instruments"]}
    assert (ended.exit_code, list(by_role)) == (0, ["generator", "oscilloscope", "load", "supply", "thermometer"])
    assert all(each["identity"].startswith("benchctl,") for each in by_role.values())
    assert all(each["is_on"] == [] and each["errors"] == [] for each in by_role.values())
    assert all(len(each["times_s"]) == 5 for each in by_role.values())
    assert by_role["load"]["reading"] == ["closed relays", "0,0,0,0"]
    assert by_role["generator"]["reading"] == ["frequency", "1 kHz"]


def test_a_slow_instrument_that_says_little_of_itself_is_shown_as_it_is(benchctl: Command, tmp_path: Path) -> None:
    vices = "{supply: {answers_after: 120 ms, identity: one field, clients: one, free_again_after: 200 ms}}"
    file = bench(tmp_path, ("  seed: 2150\n", f"  seed: 2150\n  instruments: {vices}\n"))
    ended = benchctl("instruments", "--bench", file, "--simulated", "--json")
    supply = next(each for each in ended.data["instruments"] if each["role"] == "supply")
    assert (ended.exit_code, supply["problem"]) == (0, "")
    assert supply["identity"]
    assert "," not in supply["identity"]
    assert min(supply["times_s"]) >= 0.12


def test_what_an_instrument_cannot_tell_is_said(benchctl: Command, tmp_path: Path) -> None:
    file = bench(tmp_path, *FORM["old_words"].edits("identity: none").items())
    driver = library.find("drivers", "supply/old_words").read_text(encoding="utf-8")
    written(tmp_path / "mine.yaml", driver, ('identify: "*IDN?"', "identify: none"))
    written(file, file.read_text(encoding="utf-8"), ("supply/old_words", "mine.yaml"))
    ended = benchctl("instruments", "--bench", file, "--simulated")
    row = next(line for line in ended.out.splitlines() if line.startswith("│ supply"))
    assert (ended.exit_code, ended.err) == (0, "")
    assert "cannot say who it is" in row
    assert "keeps none" in row


def test_an_instrument_that_is_gone_is_named_and_the_others_are_shown(benchctl: Command, tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150") as instruments:
        supply = instruments["supply"].address
        moved = written(tmp_path / "moved.yaml", file.read_text(), (supply, f"TCPIP::127.0.0.1::{free_port()}::SOCKET"))
        ended = benchctl("instruments", "--bench", moved)
    assert ended.exit_code == 5
    assert "supply at TCPIP::127.0.0.1::" in ended.err
    assert "nothing answers on" in ended.err
    assert "temperature of" in ended.out


def test_what_waits_in_an_error_queue_and_what_is_on_is_shown(benchctl: Command, tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150") as instruments, socket.create_connection(instruments["supply"].socket) as link:
        link.sendall(b"NONSENSE 1\nINST:NSEL 1;:SOUR:VOLT 5;:OUTP ON;*OPC?\n")
        assert link.recv(10) == b"1\n"
        ended = benchctl("instruments", "--bench", file)
        link.sendall(b"OUTP?\n")
        assert link.recv(10) == b"1\n", "hello switches nothing"
    assert "-113" in ended.out
    assert f"supply: output 'main' is on. To switch the bench off: benchctl safe --bench {file}" in ended.err


def test_options_that_do_not_go_together_are_refused(benchctl: Command) -> None:
    assert benchctl("instruments", "--simulated").exit_code == 2
    assert benchctl("instruments", "TCPIP::127.0.0.1::1::SOCKET", "--bench", "workshop").exit_code == 2
    ended = benchctl("instruments", "lamp")
    assert ended.exit_code == 2
    assert "'lamp' is not a VISA address" in ended.err


PLANTED = '  get_voltage: {ask: "INST:NSEL {output};:SOUR:VOLT?", unit: mV}'


def driver_with_a_mistake(folder: Path, bench: str = "mine.yaml") -> Path:
    """The workshop's bench with a supply driver that says mV where the supply answers volts."""
    text = library.find("drivers", "supply/scpi99_watchdog").read_text(encoding="utf-8")
    old = 'get_voltage: "INST:NSEL {output};:SOUR:VOLT?"'
    written(folder / "supply.yaml", text, (f"  {old}", PLANTED))
    workshop = library.find("benches", "workshop").read_text(encoding="utf-8")
    return written(folder / bench, workshop, ("driver: supply/scpi99_watchdog", "driver: supply.yaml"))


def test_an_exercise_names_the_line_the_bytes_and_what_to_write_instead(benchctl: Command, tmp_path: Path) -> None:
    bench = driver_with_a_mistake(tmp_path)
    ended = benchctl("instruments", "--bench", bench, "--simulated", "--exercise", "supply")
    assert ended.exit_code == 5
    lines = ended.out.splitlines()
    line = 1 + (tmp_path / "supply.yaml").read_text(encoding="utf-8").splitlines().index(PLANTED)
    place = next(line for line in lines if ": get_voltage: wrong answer" in line)
    assert place.startswith(f"{tmp_path / 'supply.yaml'}:{line}: ")
    assert "set to 2 V and 1 V, reads back 2 mV ('2.00000000E+00') and 1 mV" in place
    assert r"    sent      INST:NSEL 1;:SOUR:VOLT?\n" in lines
    assert r"    received  2.00000000E+00\n" in lines
    assert any(line.startswith('    to correct it: write `get_voltage: "INST:NSEL') for line in lines)


def test_words_that_the_named_sequences_do_not_need_do_not_count(benchctl: Command, tmp_path: Path) -> None:
    text = library.find("drivers", "generator/scpi99").read_text(encoding="utf-8")
    written(tmp_path / "generator.yaml", text, ("SOUR:LIST:DWEL ", "SOUR:LIST:DWELLS "))
    workshop = library.find("benches", "workshop").read_text(encoding="utf-8")
    bench = written(tmp_path / "mine.yaml", workshop, ("driver: generator/scpi99", "driver: generator.yaml"))
    exercise = ("instruments", "--bench", bench, "--simulated", "--exercise", "generator", "--for")
    assert benchctl(*exercise, "damping_and_noise").exit_code == 0
    assert benchctl(*exercise, "burst_and_continuous").exit_code == 5


def test_a_real_bench_is_told_what_will_be_done_and_waits_for_yes(benchctl: Command, tmp_path: Path) -> None:
    bench = bench_on_free_ports(tmp_path)
    ended = benchctl("instruments", "--bench", bench, "--exercise", "supply", typed="\n")
    assert ended.exit_code == 6
    assert "sets output 'main' and 'remote' to 1 V and 2 V" in ended.out
    assert "nothing was sent" in ended.err


def test_what_energises_needs_a_word_of_its_own_or_a_reason(benchctl: Command, tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    exercise = ("instruments", "--bench", file, "--exercise", "supply", "--json")

    def verdict(*options: str, typed: str = "") -> str:
        with served(file, "hx2150"):
            (supply,) = benchctl(*exercise, *options, typed=typed).data["instruments"]
        return next(word["verdict"] for word in supply["words"] if word["word"] == "output_on")

    assert verdict("--yes") == "not tried"
    assert verdict(typed="yes\n\n") == "not tried"
    assert verdict(typed="yes\ndisconnected\n") == "works"
    assert verdict("--yes", "--energise", "all leads are off") == "works"


def test_options_of_an_exercise_need_one(benchctl: Command) -> None:
    assert benchctl("instruments", "--bench", "workshop", "--yes").exit_code == 2
    assert benchctl("instruments", "--exercise", "supply").exit_code == 2
