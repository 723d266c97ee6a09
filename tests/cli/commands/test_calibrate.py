"""`benchctl calibrate`, driven by what a person types, on a simulated bench whose true resistors are known."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from benchctl import library
from benchctl.address import SocketAddress, parse_address
from benchctl.documents.calibration_file.calibration import Calibration
from benchctl.documents.reader import load_bench, read_any
from benchctl.launch.simulated.serving import served
from tests.cli.conftest import Command, Finished
from tests.cli.files import bench_on_free_ports

ERRORS = "  errors: {resistor 101: 2 %, probe A: 0.4 %, oscilloscope 1: 0.3 %, probe supply current: -0.8 %}\n"
TRUE_OHM = 4.013 * 1.02  # of the first resistor: the value of the bench file, and the error above

BY_METER = "meter\nyes\n1 mA\n\n\nno\n"
REST = "skip\n" * 3


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """The bench with a multimeter, whose scanner reaches the ends of the load leads; one resistor is 2 % too high."""
    text = library.find("benches", "multimeter_bench").read_text(encoding="utf-8")
    path = tmp_path / "bench.yaml"
    path.write_text(text.replace("  seed: 1010\n", f"  seed: 1010\n{ERRORS}"), encoding="utf-8")
    return path


def calibrate(benchctl: Command, bench: Path, *options: str, typed: str) -> Finished:
    return benchctl("calibrate", "--bench", bench, "--out", "own.yaml", "--simulated", *options, typed=typed)


def written(bench: Path) -> Calibration:
    calibration = read_any(bench.parent / "own.yaml")
    assert isinstance(calibration, Calibration)
    return calibration


def test_a_resistor_is_measured_by_the_multimeter_and_found_true(benchctl: Command, bench: Path) -> None:
    ended = calibrate(benchctl, bench, "--due", "2027-11-26", "loads", typed="\n" + BY_METER + REST + "yes\n")
    assert ended.exit_code == 0, ended.err
    (found,) = written(bench).resistors
    assert abs(found.measured_ohm / TRUE_OHM - 1.0) <= found.uncertainty < 0.002
    assert (found.channel, found.nominal_ohm, found.current_a) == ("A", 4.0, 0.001)
    assert str(written(bench).due) == "2027-11-26"
    assert "+2." in ended.out
    assert "multimeter: zero" in ended.out


def test_the_file_takes_its_place_in_the_bench_file_which_may_name_it_before(benchctl: Command, bench: Path) -> None:
    bench.write_text(bench.read_text().replace("\ninstruments:", "\ncalibration: own.yaml\ninstruments:", 1))
    assert benchctl("check", bench).exit_code == 2
    ended = calibrate(benchctl, bench, "loads", typed="\n" + BY_METER + REST + "yes\n")
    assert ended.exit_code == 0, ended.err
    first = load_bench(bench).load_resistors[0]
    assert first.measured_ohm == written(bench).resistors[0].measured_ohm


def test_typed_volts_and_amperes_will_do(benchctl: Command, bench: Path) -> None:
    """8.1 V at 2 A and, reversed, 8.1 V at 2 A: 4.05 ohm, given at 20 degC by the coefficient of the file."""
    typed = "\ntyped\n0.05 %\n0.1 %\n8.1 V\n2 A\n8.1 V\n2 A\nno\n" + REST + "yes\n"
    ended = calibrate(benchctl, bench, "loads", typed=typed)
    assert ended.exit_code == 0, ended.err
    (found,) = written(bench).resistors
    assert found.measured_ohm == pytest.approx(4.05, rel=0.0005)
    assert found.how == "volts over amperes"


def test_a_wrong_answer_is_asked_for_again(benchctl: Command, bench: Path) -> None:
    typed = "\ntyped\n0.05 %\n0.1 %\n8.1\n8.1 V\n2 A\n\nno\n" + REST + "yes\n"
    ended = calibrate(benchctl, bench, "loads", typed=typed)
    assert ended.exit_code == 0
    assert "'8.1' has no unit" in ended.out + ended.err


def test_two_leads_are_refused(benchctl: Command, bench: Path) -> None:
    ended = calibrate(benchctl, bench, "loads", typed="\nmeter\nno\n" + REST)
    assert "with two leads their own resistance is measured too" in ended.out
    assert "Nothing is taken" in ended.out
    assert not (bench.parent / "own.yaml").exists()


def test_loads_are_not_switched_while_nobody_knows_that_the_supply_is_off(benchctl: Command, bench: Path) -> None:
    silent = "  faults: [{kind: no answer, instrument: supply, at: 0 s, for: 1 h}]\n  seed: 1010\n"
    bench.write_text(bench.read_text().replace("  seed: 1010\n", silent))
    ended = calibrate(benchctl, bench, "loads", typed="\nno\n")
    assert ended.exit_code == 5
    assert "It cannot be seen whether the supply is off" in ended.out
    goes_on = calibrate(benchctl, bench, "loads", typed="\nyes\n" + BY_METER + REST + "yes\n")
    assert goes_on.exit_code == 0, goes_on.err


def test_instruments_on_the_network_are_used_as_simulated_ones_are(benchctl: Command, tmp_path: Path) -> None:
    """Relays and the thermometer of a bench that is served on loopback."""
    file = bench_on_free_ports(tmp_path)
    typed = "\ntyped\n0.05 %\n0.1 %\n8.1 V\n2 A\n8.1 V\n2 A\nno\n" + REST + "yes\n"
    with served(file, "hx2150"):
        ended = benchctl("calibrate", "--bench", file, "--out", "own.yaml", "loads", typed=typed)
        assert closed(file) == "0"
    assert ended.exit_code == 0, ended.err
    assert "The sensor at the load resistors shows 2" in ended.out
    assert written(file).resistors[0].measured_ohm == pytest.approx(4.05, rel=0.001)


def test_loads_are_not_switched_while_the_supply_gives_a_volt(benchctl: Command, tmp_path: Path) -> None:
    """Of what is less its display's zero may be made."""
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150"):
        said = "INST:NSEL 1;:VOLT 1.05;:CURR 0.5;:OUTP ON;:OUTP?"
        assert asked(file, "supply", said) == "1"
        while float(asked(file, "supply", "INST:NSEL 1;:MEAS:VOLT?")) < 1.04:  # its voltage takes a moment to rise
            pass
        ended = benchctl("calibrate", "--bench", file, "--out", "own.yaml", "loads", typed="\n")
        assert closed(file) == "0"
    assert ended.exit_code == 3
    assert "the supply's output 'main' reads 1.0" in ended.err
    assert "switch it off, and take the amplifier off the loads" in ended.err


def test_a_load_does_not_stay_connected_when_the_person_stops(benchctl: Command, tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150"):
        ended = benchctl("calibrate", "--bench", file, "--out", "own.yaml", "loads", typed="\ntyped\n0.05 %\n")
        assert closed(file) == "0"
    assert ended.exit_code == 6
    assert not (tmp_path / "own.yaml").exists()


def closed(bench: Path) -> str:
    """What the load says of the relay of the first resistor."""
    return asked(bench, "load", "ROUT:CLOS? (@101)")


def asked(bench: Path, role: str, question: str) -> str:
    """The answer of an instrument, over a link of its own."""
    address = parse_address(dict(load_bench(bench).instruments.items())[role].address)
    assert isinstance(address, SocketAddress)
    with socket.create_connection((address.host, address.port), timeout=5) as link:
        link.sendall(f"{question}\n".encode())
        return link.recv(100).decode().strip()


def test_leads_are_measured_by_volts_and_amperes(benchctl: Command, bench: Path) -> None:
    """0.11 V at 20 A are 5.5 mohm."""
    ended = calibrate(benchctl, bench, "leads", typed="\n0.5 %\n0.5 %\n0.11 V\n20 A\nyes\n")
    assert ended.exit_code == 0, ended.err
    leads = written(bench).leads
    assert leads is not None
    assert leads.resistance_ohm == pytest.approx(5.5e-3)


def test_a_probe_is_found_better_than_the_oscilloscope_is(benchctl: Command, bench: Path) -> None:
    """20:1 that gives 0.4 % too much is 20:1.004. A plain lead takes off the oscilloscope's own 0.3 %."""
    typed = "\n\n0.01 %\n30 V\n\nyes\n1.5 V\n\nskip\nskip\nyes\n"
    ended = calibrate(benchctl, bench, "probes", typed=typed)
    assert ended.exit_code == 0, ended.err
    probe = written(bench).probes["output A"]
    assert abs(probe.ratio / (20.0 / 1.004) - 1.0) <= probe.accuracy < 0.003
    assert probe.how == "at 30 V dc against a reference, the oscilloscope by a plain lead"


def test_the_zero_of_a_probe_is_taken_off(benchctl: Command, bench: Path) -> None:
    """0.6 V at the tip, 2 % of the reference."""
    off_by = "  faults: [{kind: off by, of: output A, by: 0.6, at: 0 s}]\n  seed: 1010\n"
    bench.write_text(bench.read_text().replace("  seed: 1010\n", off_by))
    typed = "\n\n0.01 %\n30 V\n\nno\nyes\nskip\nskip\nyes\n"
    assert calibrate(benchctl, bench, "probes", typed=typed).exit_code == 0
    probe = written(bench).probes["output A"]
    assert abs(probe.ratio / (20.0 / 1.004) - 1.0) <= probe.accuracy < 0.01


def test_a_value_less_certain_than_the_one_before_is_only_taken_if_wanted(benchctl: Command, bench: Path) -> None:
    """Without the plain lead the oscilloscope's 0.5 % counts, and the bench file states 0.5 % of the probe alone."""
    ended = calibrate(benchctl, bench, "probes", typed="\n\n0.01 %\n30 V\n\nno\nno\nskip\nskip\n")
    assert "the bench file states 0.5 %" in ended.out
    assert "Nothing is taken, so nothing is written" in ended.out


def test_a_resistor_that_was_measured_before_stays_beside_another(benchctl: Command, bench: Path) -> None:
    typed = "typed\n0.05 %\n0.1 %\n8.1 V\n2 A\n8.1 V\n2 A\nno\n"
    calibrate(benchctl, bench, "loads", typed="\n" + BY_METER + REST + "yes\n")
    ended = calibrate(benchctl, bench, "loads", typed="yes\n\nskip\n" + typed + "skip\nskip\nyes\n")
    assert ended.exit_code == 0, ended.err
    assert [each.channel for each in written(bench).resistors] == ["A", "B"]


def test_a_clamp_is_measured_beside_a_reference(benchctl: Command, bench: Path) -> None:
    """10 mV/A less 0.8 %; without the plain lead the oscilloscope's 0.5 % counts."""
    ended = calibrate(benchctl, bench, "clamp", typed="\n\n0.1 %\n100 A\n\nno\nyes\n")
    assert ended.exit_code == 0, ended.err
    clamp = written(bench).clamp
    assert clamp is not None
    assert abs(clamp.sensitivity_v_per_a / 9.92e-3 - 1.0) <= clamp.accuracy
    assert clamp.accuracy > 0.005


def test_what_the_file_has_already_stays(benchctl: Command, bench: Path) -> None:
    calibrate(benchctl, bench, "leads", typed="\n0.5 %\n0.5 %\n0.11 V\n20 A\nyes\n")
    ended = calibrate(benchctl, bench, "loads", typed="yes\n\n" + BY_METER + REST + "yes\n")
    assert ended.exit_code == 0, ended.err
    assert written(bench).leads is not None
    assert len(written(bench).resistors) == 1


@pytest.mark.parametrize("answers", ["no\n", "yes\n\n0.5 %\n0.5 %\n0.12 V\n20 A\nno\n", "yes\n\n0.5 %\n"])
def test_nothing_is_written_over_unless_the_person_wants_it(benchctl: Command, bench: Path, answers: str) -> None:
    calibrate(benchctl, bench, "leads", typed="\n0.5 %\n0.5 %\n0.11 V\n20 A\nyes\n")
    before = (bench.parent / "own.yaml").read_bytes()
    ended = calibrate(benchctl, bench, "leads", typed=answers)
    assert ended.exit_code == 6
    assert (bench.parent / "own.yaml").read_bytes() == before


def test_another_file_is_never_written_over(benchctl: Command, bench: Path) -> None:
    ended = benchctl("calibrate", "--bench", bench, "--out", bench, "--simulated", "leads", typed="\n")
    assert ended.exit_code == 2
    assert "this is a bench file; a calibration file is wanted here" in ended.err
