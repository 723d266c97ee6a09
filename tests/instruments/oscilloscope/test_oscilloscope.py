"""The oscilloscope: a record that fits its range, in volts, or an error; never a clipped one."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from benchctl import library
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.errors import GarbledAnswer, InstrumentError, MeasurementError, NoRecord
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.oscilloscope.oscilloscope import RANGE_ATTEMPTS
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.signal.record import Capture
from tests.runner.ordinary import ONE_PROBE
from tests.runner.rig import POWER_ON, Rig, files, rig

LEVEL_V = 0.1
PEAK_V = LEVEL_V * 31.9 * math.sqrt(2.0)  # sim/amplifiers/hx2150.yaml: its true gain is 31.9
TONE = Record(span_s=0.02, pretrigger_s=0.0, samples=10_000)
BEFORE = Record(span_s=0.02, pretrigger_s=0.005, samples=10_000)
FIELDS = {"driver: oscilloscope/preamble_list": "driver: oscilloscope/preamble_fields"}


def driven(bench: Rig) -> Rig:
    """1 kHz into 4 ohm at about 4.5 V peak."""
    bench.begin()
    bench.do(POWER_ON, Set(load_ohm=4.0, frequency_hz=1e3, level=Level(LEVEL_V)))
    bench.taps.sent.clear()
    return bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path) as found:
        yield driven(found)


def capture(bench: Rig, expected_v: float, record: Record = TONE) -> Capture:
    signals = ["output A"]
    return bench.run.bench.oscilloscope.capture("test", signals, record, dict.fromkeys(signals, expected_v))


def records_taken(bench: Rig) -> int:
    return bench.taps.to("oscilloscope").count("SING")


def peak_v(taken: Capture) -> float:
    return float(np.max(np.abs(taken.traces["output A"].values())))


def test_a_record_of_what_was_expected_is_taken_once(bench: Rig) -> None:
    taken = capture(bench, PEAK_V)
    assert records_taken(bench) == 1
    assert peak_v(taken) == pytest.approx(PEAK_V, rel=0.02)
    assert taken.interval_s == pytest.approx(2e-6)


@pytest.mark.parametrize("wrong_by", [0.001, 0.1, 0.5, 10.0, 50.0])
def test_a_wrong_expectation_costs_another_record_and_nothing_else(bench: Rig, wrong_by: float) -> None:
    taken = capture(bench, PEAK_V * wrong_by)
    trace = taken.traces["output A"]
    assert not trace.is_clipped
    assert peak_v(taken) == pytest.approx(PEAK_V, rel=0.02)
    assert peak_v(taken) > 0.1 * trace.full_scale / 2  # nor does it waste the converter
    assert 1 < records_taken(bench) <= RANGE_ATTEMPTS


def test_a_record_that_clips_is_taken_again_on_a_wider_range(bench: Rig) -> None:
    assert not capture(bench, PEAK_V * 0.6).traces["output A"].is_clipped
    assert records_taken(bench) == 2


def test_a_range_that_was_set_for_another_output_is_not_taken_for_this_ones(tmp_path: Path) -> None:
    """One channel serves both. B has 6 dB less and a finer range, on which A would be cut off unseen."""
    weak = {"noise: 0.3 mV": "noise: 0.3 mV\n  faults: {gain_mismatch: {B: -6 dB}}"}
    with rig(tmp_path, files("power_off", bench=ONE_PROBE, amplifier=weak)) as found:
        found.run.seen = ("A",)
        bench = driven(found)
        capture(bench, PEAK_V)
        bench.simulated.probe(["B"])
        bench.run.bench.oscilloscope.capture("other", ["output B"], TONE, {"output B": 0.5 * PEAK_V})
        bench.simulated.probe(["A"])
        assert peak_v(capture(bench, PEAK_V)) == pytest.approx(PEAK_V, rel=0.03)


def test_a_signal_beyond_every_range_is_no_record(bench: Rig) -> None:
    """The vertical read-back stays at 1 mV a division, whatever is asked for."""
    bench.taps.forge("oscilloscope", "CHAN1:SCAL", "1E-3")
    with pytest.raises(MeasurementError, match="no vertical range shows output A whole"):
        capture(bench, PEAK_V)
    assert records_taken(bench) == RANGE_ATTEMPTS


def test_an_instrument_without_a_finer_range_gives_the_record_it_can(bench: Rig) -> None:
    bench.taps.forge("oscilloscope", "CHAN1:SCAL?", "1")  # its finest, and 20 times too coarse for this tone
    taken = capture(bench, PEAK_V)
    assert records_taken(bench) == 1
    assert not taken.traces["output A"].is_clipped


def test_the_range_of_one_signal_is_fitted_without_spoiling_the_others(bench: Rig) -> None:
    signals = ["output A", "output B", "supply voltage"]
    expected = {"output A": PEAK_V / 3, "output B": PEAK_V * 50, "supply voltage": 14.4}
    taken = bench.run.bench.oscilloscope.capture("test", signals, TONE, expected)
    assert not any(trace.is_clipped for trace in taken.traces.values())
    assert float(taken.traces["supply voltage"].values().mean()) == pytest.approx(14.4, abs=0.3)


def test_both_forms_of_preamble_give_the_same_volts(tmp_path: Path) -> None:
    """The same tone, the same true errors: what differs is how the instrument says what its codes mean."""
    taken = []
    for place, edits in (("list", {}), ("fields", FIELDS)):
        with rig(tmp_path / place, files("power_off", bench=edits)) as bench:
            taken.append(capture(driven(bench), PEAK_V))
    of_list, of_fields = taken
    step_v = of_list.traces["output A"].scale
    assert of_fields.interval_s == pytest.approx(of_list.interval_s)
    assert of_fields.start_s == pytest.approx(of_list.start_s, abs=of_list.interval_s)
    difference_v = of_list.traces["output A"].values() - of_fields.traces["output A"].values()
    assert float(np.max(np.abs(difference_v))) < 40 * step_v
    assert peak_v(of_fields) == pytest.approx(peak_v(of_list), rel=1e-3)


@pytest.mark.parametrize("edits", [{}, FIELDS], ids=["list", "fields"])
def test_pretrigger_begins_the_record_before_its_trigger(tmp_path: Path, edits: dict[str, str]) -> None:
    with rig(tmp_path, files("power_off", bench=edits)) as bench:
        taken = capture(driven(bench), PEAK_V, Record(span_s=0.02, pretrigger_s=0.005, samples=10_000))
    assert taken.start_s == pytest.approx(-0.005, abs=2 * taken.interval_s)


def test_the_record_is_triggered_by_the_generators_sync_output(bench: Rig) -> None:
    """A sine that starts at its trigger starts at zero and rises."""
    values = capture(bench, PEAK_V).traces["output A"].values()
    assert abs(float(values[:5].mean())) < 0.05 * PEAK_V
    assert float(values[125]) > 0.9 * PEAK_V  # a quarter of a period later


def test_a_sync_output_on_a_channel_triggers_as_well(tmp_path: Path) -> None:
    edits = {
        "  supply_voltage: {oscilloscope: 4": "  supply_voltage: {oscilloscope: 5",
        "trigger: external ": "trigger: channel 4 ",
    }
    with rig(tmp_path, files("power_off", bench=edits)) as bench:
        taken = capture(driven(bench), PEAK_V)
        assert any(text.startswith("TRIG:EDGE:SOUR CHAN4") for text in bench.taps.to("oscilloscope"))
    assert peak_v(taken) == pytest.approx(PEAK_V, rel=0.02)


def test_no_trigger_is_an_error_that_says_where_to_look(bench: Rig) -> None:
    bench.taps.forge("oscilloscope", "ACQ:COMP?", "0")
    began_s = bench.clock.now()
    with pytest.raises(InstrumentError, match="no whole record within") as caught:
        capture(bench, PEAK_V)
    assert "sync" in caught.value.advice
    assert bench.clock.now() - began_s < 5.0
    assert bench.taps.to("oscilloscope")[-1] == "STOP"


def test_a_trigger_that_comes_seldom_is_waited_for(bench: Rig) -> None:
    """The first burst is over before the oscilloscope is armed; the next comes five seconds later."""
    began_s = bench.clock.now()
    bench.run.bench.generator.start_burst(Burst(1e3, 8, LEVEL_V, 0.1 * LEVEL_V, every_s=5.0))
    seldom = Record(span_s=0.02, pretrigger_s=0.005, samples=10_000, trigger_every_s=5.0)
    assert peak_v(capture(bench, PEAK_V, seldom)) == pytest.approx(PEAK_V, rel=0.02)
    assert bench.clock.now() - began_s > 4.0


@pytest.mark.parametrize(
    "preamble",
    [
        "",
        "4,2,10000",
        "4,2,10000,1,2E-6,0,0,volts,0,0",
        "4,2,10000,1,2E-6,0,0,0,0,0",  # nothing a code
        "4,2,10000,1,0,0,0,1E-3,0,0",  # no time a sample
        "4,2,10000,1,2E-6,0,0,NAN,0,0",
        "4,2,10000,1,2E-6,0,0,INF,0,0",
    ],
)
def test_a_preamble_with_which_nothing_can_be_done_is_garbled(bench: Rig, preamble: str) -> None:
    bench.taps.forge("oscilloscope", "WAV:PRE?", preamble)
    with pytest.raises(GarbledAnswer, match="oscilloscope at TCPIP"):
        capture(bench, PEAK_V)


def test_a_block_that_is_no_words_of_two_bytes_is_garbled(bench: Rig) -> None:
    bench.taps.forge("oscilloscope", "WAV:DATA?", lambda: b"#13abc\n")
    with pytest.raises(GarbledAnswer, match="sends 3 bytes"):
        capture(bench, PEAK_V)


def test_a_range_that_reads_back_as_nothing_is_garbled(bench: Rig) -> None:
    bench.taps.forge("oscilloscope", "CHAN1:SCAL?", "0")
    with pytest.raises(GarbledAnswer, match=r"oscilloscope at .*says its range is 0 V a division"):
        capture(bench, PEAK_V)


def test_a_code_at_the_converters_end_counts_as_clipped(bench: Rig) -> None:
    """One converter step inside the screen's edge: the highest code may hide anything."""
    trace = capture(bench, PEAK_V).traces["output A"]
    half_range_v = 8.0  # 4.5 V peak behind a probe of 20:1 and 4 divisions want 66 mV a division: 100 mV is the next
    step_v = 2 * half_range_v / 2**12  # sim/workshop.yaml: 12 bits
    for code, end_v in ((trace.high_code, half_range_v), (trace.low_code, -half_range_v)):
        value_v = code * trace.scale + trace.offset
        assert abs(value_v) == pytest.approx(abs(end_v) - 1.5 * step_v, abs=step_v)


def test_a_preamble_of_one_list_turns_codes_into_volts_as_its_driver_file_says(bench: Rig) -> None:
    """drivers/oscilloscope/preamble_list.yaml: value = (code - yorigin - yreference) * yincrement, and for time
    (n - xreference) * xincrement + xorigin; a probe of 20:1 is before it."""
    bench.taps.forge("oscilloscope", "WAV:PRE?", "4,2,10000,1,2E-6,-0.005,10,0.001,250,-5")
    taken = capture(bench, PEAK_V, BEFORE)
    trace = taken.traces["output A"]
    assert trace.scale == pytest.approx(0.001 * 20)
    assert trace.offset == pytest.approx(-(250 - 5) * 0.001 * 20)
    assert taken.interval_s == 2e-6
    assert taken.start_s == pytest.approx(-0.005 - 10 * 2e-6)


def test_a_preamble_of_single_fields_turns_codes_into_volts_as_its_driver_file_says(tmp_path: Path) -> None:
    """drivers/oscilloscope/preamble_fields.yaml: value = (code - yoffset) * ymultiplier + yzero; time = n * xincrement
    + xzero; a probe of 20:1 is before it."""
    with rig(tmp_path, files("power_off", bench=FIELDS)) as bench:
        driven(bench)
        fields = {"YMU": "0.001", "YOF": "5", "YZE": "0.25", "XIN": "2E-6", "XZE": "-0.005"}
        for name, value in fields.items():
            bench.taps.forge("oscilloscope", f"WFMO:{name}?", value)
        taken = capture(bench, PEAK_V, BEFORE)
    trace = taken.traces["output A"]
    assert trace.scale == pytest.approx(0.001 * 20)
    assert trace.offset == pytest.approx((0.25 - 5 * 0.001) * 20)
    assert taken.interval_s == 2e-6
    assert taken.start_s == -0.005


def test_only_the_signals_asked_for_are_shown(bench: Rig) -> None:
    capture(bench, PEAK_V)
    shown = [text for text in bench.taps.to("oscilloscope") if "DISP" in text]
    assert shown == ["CHAN1:DISP ON", "CHAN2:DISP OFF", "CHAN3:DISP OFF", "CHAN4:DISP OFF"]
    bench.taps.sent.clear()
    capture(bench, PEAK_V)
    assert not [text for text in bench.taps.to("oscilloscope") if "DISP" in text]  # as they are already


@pytest.mark.parametrize(
    ("edits", "wrong"),
    [({}, "WAV:BYT MSBF"), (FIELDS, "DAT:ENC RIBINARY")],
    ids=["list", "fields"],
)
def test_bytes_in_the_wrong_order_are_named_with_what_to_change_in_the_driver_file(
    tmp_path: Path, edits: dict[str, str], wrong: str
) -> None:
    with rig(tmp_path, files("power_off", bench=edits)) as bench:
        driven(bench)
        bench.run.bench.oscilloscope.session.command(wrong)
        with pytest.raises(GarbledAnswer, match="its bytes probably come in the wrong order") as caught:
            capture(bench, PEAK_V)
    assert "output A" in str(caught.value)
    assert "'samples' must say what the instrument sends" in caught.value.advice


def test_a_scale_that_is_not_that_of_the_words_is_named(bench: Rig) -> None:
    """A millionth of a volt a code: all words together are 66 mV, and the range is 800 mV."""
    bench.taps.forge("oscilloscope", "WAV:PRE?", "4,2,10000,1,2E-6,0,0,1E-6,0,2048")
    with pytest.raises(GarbledAnswer, match="the scale that it tells is probably not that of its codes"):
        capture(bench, PEAK_V)


# -- what an instrument may lack -----------------------------------------------------------------------------------


def lacking(tmp_path: Path, **without: str) -> dict[str, str]:
    """The workshop's bench with a driver whose commands are replaced by these."""
    lines = library.find("drivers", "oscilloscope/preamble_list").read_text(encoding="utf-8").splitlines()
    for name, words in without.items():
        lines = [f"  {name}: {words}" if line.startswith(f"  {name}:") else line for line in lines]
        if not any(line.startswith(f"  {name}:") for line in lines):
            lines.append(f"  {name}: {words}")
    (tmp_path / "lacking.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return {"driver: oscilloscope/preamble_list": f"driver: {tmp_path / 'lacking.yaml'}"}


def test_no_more_than_20_questions_a_second_are_asked_while_a_trigger_is_awaited(bench: Rig) -> None:
    bench.taps.forge("oscilloscope", "ACQ:COMP?", "0")
    began_s = bench.clock.now()
    with pytest.raises(InstrumentError):
        capture(bench, PEAK_V)
    asked = bench.taps.to("oscilloscope").count("ACQ:COMP?")
    assert 10 < asked <= 20 * (bench.clock.now() - began_s)


def test_one_that_is_not_asked_whether_a_record_is_whole_is_given_the_time_of_the_record(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=lacking(tmp_path, get_finished="none"))) as made:
        assert peak_v(capture(driven(made), PEAK_V)) == pytest.approx(PEAK_V, rel=0.02)


def test_the_same_record_once_more_is_no_new_record(tmp_path: Path) -> None:
    """Not armed, and not asked: it would send its last record again and again."""
    with rig(tmp_path, files("power_off", bench=lacking(tmp_path, get_finished="none"))) as made:
        bench = driven(made)
        capture(bench, PEAK_V)
        bench.taps.forge("oscilloscope", "SING", lambda: b"")  # lost on its way
        with pytest.raises(NoRecord, match="no whole record within"):
            capture(bench, PEAK_V)


def test_a_record_without_a_trigger_is_forced_where_the_instrument_must_have_one(tmp_path: Path) -> None:
    words = {"trigger_free": "none", "force_trigger": '"TRIG:FORC"'}
    with rig(tmp_path, files("power_off", bench=lacking(tmp_path, **words))) as made:
        bench = driven(made)
        capture(bench, PEAK_V, Record(0.02, 0.0, 10_000, triggered=False))
        sent = bench.taps.to("oscilloscope")
        assert sent.index("TRIG:FORC") == sent.index("SING") + 1


def test_a_range_that_cannot_be_read_back_is_as_set(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=lacking(tmp_path, get_vertical="none"))) as made:
        taken = capture(driven(made), PEAK_V)
        assert "CHAN1:SCAL?" not in made.taps.to("oscilloscope")
    assert peak_v(taken) == pytest.approx(PEAK_V, rel=0.02)
    # 4.5 V peak behind a probe of 20:1 fill at most 85 % of 4 divisions: 100 mV is the next of 1, 1.6, 2.5, ...
    assert taken.traces["output A"].full_scale == pytest.approx(2 * 4 * 0.1 * 20, rel=0.01)


def test_a_time_base_that_reads_back_shorter_is_set_longer_until_it_holds_the_record(tmp_path: Path) -> None:
    """It has 1 ms and 10 ms a division, and takes the shorter one of what lies between."""
    with rig(tmp_path, files("power_off", bench=lacking(tmp_path, get_time_base='"TIM:SCAL?"'))) as made:
        bench = driven(made)
        answers = iter([b"0.001\n", b"0.001\n", b"0.01\n", b"0.01\n"])
        bench.taps.forge("oscilloscope", "TIM:SCAL?", lambda: next(answers))
        taken = capture(bench, PEAK_V)
        asked = [float(text.split()[1]) for text in bench.taps.to("oscilloscope") if text.startswith("TIM:SCAL ")]
    assert asked == pytest.approx([0.002, 0.004, 0.008, 0.01])
    assert taken.duration_s == pytest.approx(0.02, rel=0.02)


def test_a_trigger_that_does_not_come_is_asked_for_at_most_twenty_times_a_second(bench: Rig) -> None:
    asked_s: list[float] = []

    def listen(role: str, text: str) -> None:
        if (role, text) == ("oscilloscope", "ACQ:COMP?"):
            asked_s.append(bench.run.clock.now())

    bench.taps.on_send.append(listen)
    bench.taps.forge("oscilloscope", "ACQ:COMP?", "0")
    with pytest.raises(NoRecord):
        capture(bench, PEAK_V)
    assert len(asked_s) > 20
    assert all(later_s - earlier_s >= 0.05 - 1e-9 for earlier_s, later_s in pairwise(asked_s))
