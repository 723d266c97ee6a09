"""Generator, supply, load and thermometer: what each promises beyond sending its words."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.errors import GarbledAnswer, InstrumentError, InstrumentReports, SettingRefused, UsageError
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.links.transports.every_link import open_link
from benchctl.instruments.load import ElectronicLoad, RelayBank
from tests.runner.rig import INPUT_RELAYS, POWER_ON, Rig, files, rig, shipped, with_inputs

ELECTRONIC_LOAD = """  load:
    address: TCPIP::127.0.0.1::15023::SOCKET
    driver: load/scpi99
    channel: A
    ratings: {resistance: {minimum: 1 ohm, maximum: 1 kohm}, power: 1000 W}
    accuracy: {resistance: {reading: 0.1 %}}
    calibrated: 2026-01-15

"""


def with_electronic_load() -> dict[str, str]:
    """The workshop's bench with an electronic load in the place of its relay bank."""
    text = shipped("benches", "workshop")
    start, end = text.index("  load:\n"), text.index("  supply:\n")
    return {text[start:end]: ELECTRONIC_LOAD, **with_inputs("")}


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path) as found:
        found.begin()
        found.taps.sent.clear()
        yield found


# -- generator -------------------------------------------------------------------------------------------------


def test_a_level_is_set_and_read_back(bench: Rig) -> None:
    bench.run.bench.generator.set_level(0.5)
    assert bench.taps.to("generator") == ["SOUR:VOLT 0.500000", "SOUR:VOLT?"]


def test_a_level_that_reads_back_otherwise_is_refused_with_both_values(bench: Rig) -> None:
    bench.taps.forge("generator", "VOLT?", "0.25")
    with pytest.raises(
        SettingRefused, match=r"generator at .*: the level was set to 0.5 V rms and reads back as 0.25 V rms"
    ):
        bench.run.bench.generator.set_level(0.5)


def test_a_frequency_that_reads_back_otherwise_is_refused(bench: Rig) -> None:
    bench.taps.forge("generator", "FREQ?", "1001")
    with pytest.raises(SettingRefused, match="the frequency was set to 1000 Hz and reads back as 1001 Hz"):
        bench.run.bench.generator.set_frequency(1000.0)


def test_a_read_back_as_coarse_as_six_digits_is_accepted(bench: Rig) -> None:
    bench.taps.forge("generator", "VOLT?", "0.5004")
    bench.run.bench.generator.set_level(0.5)


def test_a_burst_lasts_whole_cycles_and_rests_for_what_is_left() -> None:
    burst = Burst(frequency_hz=1000.0, cycles=8, level_v=1.0, low_level_v=0.1, every_s=0.5)
    assert burst.burst_s == pytest.approx(0.008)
    assert burst.burst_s + burst.rest_s == 0.5


# -- supply ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("question", "what"),
    [
        ("SOUR:VOLT:PROT?", "over-voltage protection of 'main'"),
        ("SOUR:CURR:PROT?", "over-current protection of 'main'"),
        ("SOUR:VOLT?", "voltage of 'main'"),
        ("SOUR:CURR?", "current limit of 'main'"),
    ],
)
def test_no_output_goes_on_with_a_setting_that_reads_back_otherwise(bench: Rig, question: str, what: str) -> None:
    bench.taps.forge("supply", question, "0")
    with pytest.raises(SettingRefused, match=what):
        bench.do(POWER_ON)
    assert not [text for text in bench.taps.to("supply") if text.endswith("OUTP ON")]


def test_protection_is_programmed_and_read_back_before_the_output_goes_on(bench: Rig) -> None:
    bench.do(POWER_ON)
    sent = [text.removeprefix("INST:NSEL 1;:") for text in bench.taps.to("supply") if text.startswith("INST:NSEL 1")]
    on = sent.index("OUTP ON")
    for words in ("SOUR:VOLT:PROT 16.0000", "SOUR:VOLT:PROT?", "SOUR:CURR:PROT 99.0000", "SOUR:CURR:PROT?"):
        assert any(text.startswith(words) for text in sent[:on]), words


def test_an_output_that_stays_off_is_an_error_with_advice(bench: Rig) -> None:
    bench.taps.forge("supply", "OUTP?", "0")
    with pytest.raises(InstrumentError, match="output 'main' was switched on and says it is off") as caught:
        bench.run.bench.supply.output_on("main")
    assert "protection" in caught.value.advice


def test_each_output_is_read_by_its_own_number_voltage_and_current_in_one_message(bench: Rig) -> None:
    bench.run.bench.supply.measure("remote")
    bench.run.bench.supply.measure("main")
    assert bench.taps.to("supply") == [f"INST:NSEL {number};:MEAS:VOLT?;:MEAS:CURR?" for number in (2, 1)]


@pytest.mark.parametrize("answer", ["14.4", "14.4;1.7;24.5", "14.4;", "14.4 1.7"])
def test_a_reading_that_is_not_two_numbers_is_none(bench: Rig, answer: str) -> None:
    bench.taps.forge("supply", "MEAS:VOLT?;:MEAS:CURR?", answer)
    with pytest.raises(GarbledAnswer, match="answers"):
        bench.run.bench.supply.measure("main")


@pytest.mark.parametrize("answer", ["9.91E37;1.7", "14.4;9.9E37"])
def test_a_voltage_without_a_current_is_no_reading_nor_the_other_way_round(bench: Rig, answer: str) -> None:
    """SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5: 9.91E37 is not a number, 9.9E37 infinity."""
    bench.taps.forge("supply", "MEAS:VOLT?;:MEAS:CURR?", answer)
    with pytest.raises(GarbledAnswer, match="nothing to measure"):
        bench.run.bench.supply.measure("main")


def test_a_watchdog_is_armed_fed_and_disarmed_in_the_words_of_its_driver(bench: Rig) -> None:
    supply = bench.run.bench.supply
    supply.arm_watchdog(7.0)
    assert supply.feed_watchdog() == 0.0
    bench.run.interlock.open(UsageError("the run is over"))
    supply.disarm_watchdog()
    assert [each for each in bench.taps.to("supply") if "WDOG" in each] == [
        "OUTP:PROT:WDOG:DEL 7;:OUTP:PROT:WDOG ON",
        "OUTP:PROT:WDOG:RES",
        "OUTP:PROT:WDOG:TRIP?",
        "OUTP:PROT:WDOG OFF",
    ]


def test_a_supply_that_does_not_take_its_watchdogs_command_says_so_before_anything_is_on(bench: Rig) -> None:
    with pytest.raises(InstrumentReports, match="-222"):
        bench.run.bench.supply.arm_watchdog(0.1)


def test_a_watchdog_that_has_tripped_is_read_as_that(bench: Rig) -> None:
    bench.taps.forge("supply", "WDOG:TRIP?", "1")
    assert bench.run.bench.supply.feed_watchdog() == 1.0


def test_an_error_that_the_instrument_reports_ends_up_with_its_number_and_name(bench: Rig) -> None:
    bench.run.bench.supply.session.command("SOUR:VOLT 5000")
    with pytest.raises(InstrumentReports, match="supply at") as caught:
        bench.run.bench.check_errors()
    assert caught.value.code == -222  # SCPI-99 volume 2, 21.8.11: data out of range
    bench.run.bench.check_errors()  # its queue is empty now


def test_an_error_that_another_client_keeps_out_of_the_queue_ends_up_there_all_the_same(tmp_path: Path) -> None:
    """SCPI-99 volume 2, SYSTem:ERRor:ENABle: an empty list lets no error in, whoever has sent it."""
    with rig(tmp_path) as made:
        link = open_link(made.run.bench.supply.session.address)
        link.send(b"SYST:ERR:ENAB ()\n")
        made.simulated.settle()
        made.begin()
        made.run.bench.supply.session.command("SOUR:VOLT 5000")
        with pytest.raises(InstrumentReports):
            made.run.bench.check_errors()
        link.close()


# -- relay bank ------------------------------------------------------------------------------------------------


def test_relays_break_before_they_make(bench: Rig) -> None:
    """Two resistors in parallel may be less than the amplifier bears."""
    load = bench.run.bench.load
    load.connect(4.0)
    bench.taps.sent.clear()
    load.connect(2.0)
    assert bench.taps.to("load") == [
        "ROUT:OPEN (@101,102,103,104)",
        "ROUT:CLOS (@103,104)",
        "ROUT:CLOS? (@101,102,103,104)",
    ]
    assert bench.connections.closed_relays == {103, 104} | INPUT_RELAYS


@pytest.mark.parametrize(
    ("answer", "closed"), [("1,1,1,1", "101, 102, 103, 104"), ("0,0,1,0", "103"), ("0,0,0,0", "none")]
)
def test_a_relay_that_sticks_or_does_not_pull_in_is_found_by_reading_back(bench: Rig, answer: str, closed: str) -> None:
    bench.taps.forge("load", "ROUT:CLOS?", answer)
    with pytest.raises(InstrumentError, match=f"relays 103, 104 were asked to close and {closed} are"):
        bench.run.bench.load.connect(2.0)


def test_an_answer_for_fewer_relays_than_were_asked_about_is_an_error(bench: Rig) -> None:
    bench.taps.forge("load", "ROUT:CLOS?", "1,1")
    with pytest.raises(InstrumentError, match=r"answers '1,1' to ROUT:CLOS\? \(@101,102,103,104\)"):
        bench.run.bench.load.connect(4.0)


def test_a_load_is_found_by_its_nominal_value_however_it_was_written(bench: Rig) -> None:
    bench.run.bench.load.connect(2.0000000001)
    assert bench.connections.closed_relays == {103, 104} | INPUT_RELAYS


def test_a_load_that_the_bank_lacks_is_an_error_and_nothing_is_connected(bench: Rig) -> None:
    bench.run.bench.load.connect(4.0)
    with pytest.raises(UsageError, match="no load of 8 ohm"):
        bench.run.bench.load.connect(8.0)


def test_switching_loads_leaves_the_turn_on_relay_alone(tmp_path: Path) -> None:
    by_relay = {
        "remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: relay, relay: 109}"
    }
    with rig(tmp_path, files("power_off", bench=by_relay)) as bench:
        bench.begin()
        load = bench.run.bench.load
        assert isinstance(load, RelayBank)
        load.switch_turn_on_lead(on=True)
        load.connect(4.0)
        load.disconnect()
        assert bench.connections.closed_relays == {109} | INPUT_RELAYS
        load.switch_turn_on_lead(on=False)
        assert bench.connections.closed_relays == INPUT_RELAYS


def test_a_bank_that_feeds_no_turn_on_lead_says_so(bench: Rig) -> None:
    load = bench.run.bench.load
    assert isinstance(load, RelayBank)
    with pytest.raises(InstrumentError, match="no relay of this bank feeds the remote turn-on lead"):
        load.switch_turn_on_lead(on=True)


# -- electronic load -------------------------------------------------------------------------------------------


def test_an_electronic_load_is_set_read_back_and_then_connected(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=with_electronic_load())) as bench:
        bench.begin()
        load = bench.run.bench.load
        assert isinstance(load, ElectronicLoad)
        bench.taps.sent.clear()
        load.connect(4.0)
        assert bench.taps.to("load") == ["RES 4", "RES?", "INP ON", "INP?"]
        load.disconnect()
        assert bench.taps.to("load")[-1] == "INP OFF"


def test_an_electronic_load_whose_resistance_reads_back_otherwise_is_not_connected(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=with_electronic_load())) as bench:
        bench.begin()
        bench.taps.sent.clear()
        bench.taps.forge("load", "RES?", "8")
        with pytest.raises(SettingRefused, match="the resistance was set to 4 ohm and reads back as 8 ohm"):
            bench.run.bench.load.connect(4.0)
        assert "INP ON" not in bench.taps.to("load")


def test_an_electronic_load_that_does_not_connect_is_an_error(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=with_electronic_load())) as bench:
        bench.begin()
        bench.taps.forge("load", "INP?", "0")
        with pytest.raises(InstrumentError, match="the input was switched on and says that it is off"):
            bench.run.bench.load.connect(4.0)


# -- thermometer -----------------------------------------------------------------------------------------------


def test_each_sensor_is_read_at_its_own_channel(bench: Rig) -> None:
    assert bench.run.bench.thermometer.measure("heatsink") == pytest.approx(23.0, abs=1.5)
    assert bench.taps.to("thermometer") == ["MEAS:TEMP? (@101)"]


def test_an_open_sensor_is_an_error_never_a_number(bench: Rig) -> None:
    bench.taps.forge("thermometer", "(@101)", "9.91E37")
    with pytest.raises(GarbledAnswer, match="thermometer at"):
        bench.run.bench.thermometer.measure("heatsink")


# -- the bench -------------------------------------------------------------------------------------------------


def test_a_role_that_the_bench_lacks_is_an_error_by_name(bench: Rig) -> None:
    del bench.run.bench.roles["thermometer"]  # type: ignore[attr-defined]
    with pytest.raises(UsageError, match="the bench file has no thermometer"):
        _ = bench.run.bench.thermometer


def test_every_instrument_says_who_it_is(bench: Rig) -> None:
    assert set(bench.run.bench.identities()) == {"generator", "oscilloscope", "load", "supply", "thermometer"}
    assert all(identity.count(",") >= 3 for identity in bench.run.bench.identities().values())


def test_the_turn_on_lead_goes_off_before_the_amplifiers_supply(bench: Rig) -> None:
    assert bench.run.bench.outputs_to_switch_off == ("remote", "main")
