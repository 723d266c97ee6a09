"""A bench file tells the truth about the bench, and is refused where it contradicts itself."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

import pytest

from benchctl.documents.bench_file.bench import Bench, TurnOnByHand, TurnOnByRelay, TurnOnBySupply
from benchctl.documents.bench_file.instruments import ElectronicLoad, RelayBank
from benchctl.documents.reader import load_bench
from benchctl.errors import DocumentError
from tests.documents.conftest import ProblemsOf, read_text


@pytest.fixture
def bench() -> Bench:
    return load_bench("workshop")


def test_instruments_are_listed_by_role_in_a_fixed_order(bench: Bench) -> None:
    roles = [role for role, _ in bench.instruments.items()]
    assert roles == ["generator", "oscilloscope", "load", "supply", "thermometer"]


def test_figures_are_floats_in_base_units(bench: Bench) -> None:
    oscilloscope, supply = bench.instruments.oscilloscope, bench.instruments.supply
    assert oscilloscope is not None
    assert supply is not None
    assert oscilloscope.ratings.sample_rate_hz == 50e6
    assert oscilloscope.ratings.bits == 12
    assert oscilloscope.accuracy.voltage.reading == pytest.approx(0.005)
    assert oscilloscope.calibrated == datetime.date(2026, 3, 2)
    assert (supply.main.number, supply.main.voltage_v, supply.main.current_a) == (1, 20.0, 120.0)
    assert supply.accuracy.current.fixed == pytest.approx(0.06)


def test_a_load_is_looked_up_by_its_nominal_value(bench: Bench) -> None:
    load = bench.instruments.load
    assert isinstance(load, RelayBank)
    two_ohm = load.resistors_for(2.0)
    assert {channel: resistor.relay for channel, resistor in two_ohm.items()} == {"A": 103, "B": 104}
    assert two_ohm["A"].measured_ohm == 2.009
    assert two_ohm["A"].temperature_coefficient_per_k == pytest.approx(60e-6)
    assert load.resistors_for(3.0) == {}


@pytest.mark.parametrize(
    ("lead", "kind"),
    [
        ("{by: supply, output: remote, voltage: 12 V}", TurnOnBySupply),
        ("{by: relay, relay: 110}", TurnOnByRelay),
        ("{by: hand}", TurnOnByHand),
    ],
)
def test_the_remote_turn_on_lead_is_fed_by_supply_relay_or_hand(lead: str, kind: type, bench_text: str) -> None:
    text = bench_text.replace("{by: supply, output: remote, voltage: 12 V}", lead)
    bench = read_text(text, "bench")
    assert isinstance(bench, Bench)
    assert isinstance(bench.remote_turn_on, kind)


ELECTRONIC = """\
  load:
    address: TCPIP::127.0.0.1::15023::SOCKET
    driver: load/scpi99
    channel: A
    ratings: {resistance: {minimum: 1 ohm, maximum: 1 kohm}, power: 300 W}
    accuracy: {resistance: {reading: 0.5 %, fixed: 10 mohm}}
"""


def electronic(text: str) -> str:
    """Without a relay bank no relay feeds an input."""
    begin, end = text.index("  load:\n"), text.index("  supply:\n")
    kept = re.sub(r"(?m)^inputs: .*\n", "", text[end:])
    return text[:begin] + ELECTRONIC + kept


def test_an_electronic_load_has_ratings_in_place_of_resistors(bench_text: str) -> None:
    bench = read_text(electronic(bench_text), "bench")
    assert isinstance(bench, Bench)
    load = bench.instruments.load
    assert isinstance(load, ElectronicLoad)
    assert (load.channel, load.ratings.resistance.maximum_ohm, load.ratings.power_w) == ("A", 1000.0, 300.0)


def test_an_electronic_load_is_checked_too(bench_text: str, problems_of: ProblemsOf) -> None:
    text = electronic(bench_text).replace("maximum: 1 kohm", "maximum: 1 ohm").replace("channel: A\n", "channel: C\n")
    assert [fault.split(": ", 1)[1] for fault in problems_of(text, "bench")] == [
        "the maximum resistance must lie above the minimum"
    ]
    text = electronic(bench_text).replace("channel: A\n", "channel: C\n")
    assert [fault.split(": ", 1)[1] for fault in problems_of(text, "bench")] == [
        "no output 'C' under 'signals'; there are A, B"
    ]


def test_a_role_may_be_absent(bench_text: str) -> None:
    begin, end = bench_text.index("  thermometer:\n"), bench_text.index("signals:")
    bench = read_text(bench_text[:begin] + bench_text[end:], "bench")
    assert isinstance(bench, Bench)
    assert bench.instruments.thermometer is None


# In the new text `^` marks where the fault is to be told.
CONTRADICTIONS = [
    ("B: {oscilloscope: 2", "B: {oscilloscope: ^1", "channel 1 carries output A already"),
    ("trigger: external", "trigger: ^channel 4", "channel 4 carries supply voltage already"),
    ("trigger: external", "trigger: ^extern", "'extern' is not accepted; write 'external' or"),
    ("relay: 102", "relay: ^101", "relay 101 connects another resistor already"),
    ("{nominal: 4 ohm, channel: B", "{nominal: ^4 ohm, channel: A", "channel A has a 4 ohm load already"),
    ("channel: B, relay: 102", "channel: ^C, relay: 102", "no output 'C' under 'signals'; there are A, B"),
    ("measured: 4.013 ohm", "measured: ^40.13 ohm", "40.13 ohm is not a 4 ohm resistor"),
    ("uncertainty: 0.2 %", "uncertainty: ^0 %", "'0 %' is out of range; it must be more than 0 %"),
    ("output: remote", "output: ^remot", "the supply has no output 'remot'; did you mean 'remote'?"),
    ("output: remote", "output: ^main", "'main' feeds the amplifier"),
    ("output: remote, voltage: 12 V", "output: remote, voltage: ^24 V", "24 V is more than output 'remote' can give"),
    ("by: supply, output: remote, voltage: 12 V", "by: relay, relay: ^101", "relay 101 connects a load resistor"),
    ("{heatsink: 101,", "{others: {choke: ^101}, heatsink: 101,", "channel 101 is 'heatsink' already"),
    ("{heatsink: 101,", "{others: {^load: 104}, heatsink: 101,", "'load' stands under 'channels' itself"),
    (
        "{heatsink: 101,",
        "{others: {^supply_lead: 104}, heatsink: 101,",
        "'supply_lead' is what a reading of another kind",
    ),
    ("  load: {above: 180 degC}", "  temperatures: {^choke: {above: 90 degC}}", "nothing is called 'choke'"),
    (
        "  load: {above: 180 degC}",
        "  supply_outputs: {^remot: {current: {above: 1 A}}}",
        "nothing is called 'remot' under 'instruments'; did you mean 'remote'?",
    ),
    ("by: supply", "by: ^magic", "unknown value 'magic'; known here: supply, relay, hand"),
    ("main: {number: 1", "^mian: {number: 1", "no output is called 'main'"),
    ("number: 2", "number: ^1", "output 1 is 'main' already"),
    ("TCPIP::127.0.0.1::15022", "^TCPIP::127.0.0.1::15021", "the generator has this address already"),
    (
        "TCPIP::127.0.0.1::15021::SOCKET",
        "^127.0.0.1:15021",
        "'127.0.0.1:15021' is not a VISA address; write it like",
    ),
    (
        "TCPIP::127.0.0.1::15021::SOCKET",
        "^TCPIP:127.0.0.1::15021::SOCKET",
        "'TCPIP:127.0.0.1::15021::SOCKET' has one colon",
    ),
    (
        "TCPIP::127.0.0.1::15021::SOCKET",
        "^TCPIP::127.0.0.1::70000::SOCKET",
        "'TCPIP::127.0.0.1::70000::SOCKET': '70000' is not a port",
    ),
    (
        "TCPIP::127.0.0.1::15021::SOCKET",
        "^TCPIP::127.0.0.1::scpi::SOCKET",
        "'TCPIP::127.0.0.1::scpi::SOCKET': 'scpi' is not a port",
    ),
    ("TCPIP::127.0.0.1::15022", "^TCPIP0::localhost::15021", "the generator has this address already"),
    ("ambient: 102", "ambient: ^101", "channel 101 is 'heatsink' already"),
    ("kind: current clamp", "kind: ^differential", "unknown value 'differential'; known here: current clamp"),
    ("kind: single-ended", "kind: ^single ended", "unknown value 'single ended'; did you mean 'single-ended'?"),
    ("calibrated: 2026-01-15", "calibrated: ^2026-02-30", "'2026-02-30' is not a date"),
    ("{reading: 0.05 %, fixed: 10 mV}", "^{}", "no instrument is exact; give 'reading', 'range' or 'fixed'"),
    ("bits: 12", "bits: ^twelve", "'twelve' is not a whole number; write for example '8'"),
    ("bits: 12", "bits: ^010", "'010' is not a whole number"),
    ("ratio: 20,", "ratio: ^20 V,", "'20 V' is not a plain number"),
    ("driver: supply/scpi99_watchdog", "driver: ^supply/scpi98", "there is no file 'supply/scpi98'"),
    ("driver: supply/scpi99_watchdog", "driver: ^generator/scpi99", "'generator/scpi99' drives a generator"),
    ("seed: 2150", "supply_slew: {rise: ^0 V/s}", "'0 V/s' is out of range; it must be more than 0 V/s"),
    ("seed: 2150", "supply_slew: {fall: ^10 V}", "'10 V': 'V' is not accepted here; give V/s, V/ms or V/us"),
    ("seed: 2150", "relay_bounce: ^-1 ms", "'-1 ms' is out of range; it must be at least 0 s"),
    ("driver: load/relay_bank", "driver: ^load/scpi99", "'load/scpi99' drives a load of kind 'electronic'; this"),
]


def test_a_simulated_bench_may_be_slower_than_most(bench_text: str) -> None:
    slow = "seed: 2150\n  sensor_lag: 4 s\n  relay_bounce: 20 ms\n  supply_slew: {rise: 0.05 V/ms, bleed: 20 mA}"
    bench = read_text(bench_text.replace("seed: 2150", slow), "bench")
    assert isinstance(bench, Bench)
    truth = bench.simulation
    assert truth is not None
    assert (truth.sensor_lag_s, truth.relay_bounce_s) == (4.0, 0.02)
    assert (truth.supply_slew.rise_v_per_s, truth.supply_slew.bleed_a) == (50.0, 0.02)


@pytest.mark.parametrize(("old", "new", "message"), CONTRADICTIONS)
def test_a_bench_that_contradicts_itself_is_refused_at_the_place(
    old: str, new: str, message: str, bench_text: str, problems_of: ProblemsOf
) -> None:
    assert old in bench_text
    marked = bench_text.replace(old, new, 1)
    before = marked[: marked.index("^")]
    position = f"{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}"
    (told,) = problems_of(marked.replace("^", ""), "bench")
    assert told.startswith(f"{position}: {message}")


def test_a_misspelled_key_and_what_it_leaves_missing_are_both_told(bench_text: str, problems_of: ProblemsOf) -> None:
    told = problems_of(bench_text.replace("    resistors:", "    resistrs:"), "bench")
    assert [fault.split(": ", 1)[1] for fault in told] == [
        "'resistors' is missing here",
        "unknown key 'resistrs'; did you mean 'resistors'?",
    ]


def test_a_driver_file_beside_the_bench_file_is_found(tmp_path: Path, bench_text: str) -> None:
    own = tmp_path / "bench.yaml"
    own.write_text(bench_text.replace("driver: thermometer/scpi99", "driver: ./mine.yaml"))
    (tmp_path / "mine.yaml").write_text(
        "benchctl: driver 1\nrole: thermometer\ntitle: Mine\ncommands: {measure_temperature: 'READ? (@{channel})'}\n"
    )
    assert load_bench(own).instruments.thermometer is not None


def test_faults_of_a_driver_file_are_told_with_its_own_name(tmp_path: Path, bench_text: str) -> None:
    own = tmp_path / "bench.yaml"
    own.write_text(bench_text.replace("driver: thermometer/scpi99", "driver: ./mine.yaml"))
    (tmp_path / "mine.yaml").write_text("benchctl: driver 1\nrole: thermometer\ntitle: Mine\ncommands: {}\n")
    with pytest.raises(DocumentError) as caught:
        load_bench(own)
    (problem,) = caught.value.problems
    assert Path(problem.file).name == "mine.yaml"
    assert (problem.line, problem.column, problem.message) == (4, 11, "'measure_temperature' is missing here")
