"""Each kind of step on the simulated bench, in virtual time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Cool, Hold, Set, Settle
from benchctl.documents.sequence_file.measuring_steps import MeasureCrosstalk, MeasureIdle, MeasureResponse
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureBurst, MeasureContinuous
from benchctl.documents.sequence_file.steps import Require
from benchctl.errors import MeasurementError, RequirementFailed
from benchctl.runner.acting.run import CleanLevel
from tests.runner.rig import AT_4_OHM, INPUT_RELAYS, POWER_ON, POWER_ON_LINE, Rig, files, rig

STEP_RULE = 1.9952623149688795  # 6 dB, the default of `step`


def below(bound: float, unit: str) -> Criterion:
    return Criterion(relation="below", bound=bound, unit=unit)


def levels_set_v(bench: Rig) -> list[float]:
    """The steady levels asked of the generator, in order."""
    return [
        float(text.split()[1])
        for text in bench.taps.to("generator")
        if text.startswith("SOUR:VOLT 0") or text.startswith("SOUR:VOLT 1")
    ]


def told(bench: Rig, role: str) -> list[str]:
    """The commands that an instrument got, without questions."""
    return [text for to, text in bench.commands() if to == role]


def burst_levels_v(bench: Rig) -> list[float]:
    """The test levels of the bursts, in order."""
    return [
        float(text.split()[1].split(",")[0]) for text in bench.taps.to("generator") if text.startswith("SOUR:LIST:VOLT")
    ]


# -- set, hold, cool, settle -----------------------------------------------------------------------------------


def test_a_load_is_switched_without_a_signal(ready: Rig) -> None:
    ready.do(Set(level=Level(0.1)))
    ready.taps.sent.clear()
    ready.do(Set(load_ohm=2.0))
    assert ready.commands() == [
        ("generator", "OUTP OFF"),
        ("load", "ROUT:OPEN (@101,102,103,104)"),
        ("load", "ROUT:CLOS (@103,104)"),
    ]


def test_a_load_that_is_connected_already_is_left_alone(ready: Rig) -> None:
    ready.do(Set(load_ohm=4.0))
    assert ready.taps.to("load") == []


def test_load_comes_first_and_level_last(ready: Rig) -> None:
    ready.do(Set(load_ohm=2.0, frequency_hz=2e3, level=Level(0.1)))
    sent = [text for _, text in ready.commands()]
    assert sent.index("ROUT:CLOS (@103,104)") < sent.index("SOUR:FREQ 2000.000000") < sent.index("OUTP ON")


def test_a_hold_leaves_everything_as_it_is_for_its_time(ready: Rig) -> None:
    began_s = ready.clock.now()
    ready.do(Hold(for_s=100.0))
    assert ready.clock.now() == pytest.approx(began_s + 100.0)
    assert ready.commands() == []


def test_cooling_ends_as_soon_as_the_heatsink_is_cool_enough(ready: Rig) -> None:
    began_s = ready.clock.now()
    warm = iter([b"60\n"] * 20 + [b"44.9\n"] * 100)
    ready.taps.forge("thermometer", "(@101)", lambda: next(warm))
    ready.do(Cool(heatsink=below(45.0, "degC"), timeout_s=600.0))
    assert ready.clock.now() - began_s < 20.0
    assert ready.commands()[0] == ("generator", "OUTP OFF")  # it cools undriven


def test_cooling_that_takes_longer_than_its_timeout_ends_the_run(ready: Rig) -> None:
    ready.taps.forge("thermometer", "(@101)", "60")
    began_s = ready.clock.now()
    with pytest.raises(
        RequirementFailed, match=r"the heatsink is still at 60 degC after 2 min; below 45 degC was asked"
    ):
        ready.do(Cool(heatsink=below(45.0, "degC"), timeout_s=120.0))
    assert ready.clock.now() - began_s == pytest.approx(120.0, abs=1.0)


def test_settling_wants_a_full_while_without_a_change(ready: Rig) -> None:
    began_s = ready.clock.now()
    ready.do(Settle(supply_current=Criterion(relation="within", bound=0.2, unit="A"), per_s=30.0))
    assert ready.clock.now() - began_s >= 29.0 - 1e-6


def test_what_does_not_settle_ends_the_run(ready: Rig) -> None:
    drifting = iter(f"{20 + 0.2 * number:.1f}\n".encode() for number in range(10_000))
    ready.taps.forge("thermometer", "(@101)", lambda: next(drifting))
    with pytest.raises(RequirementFailed, match=r"heatsink did not settle within 60 s"):
        ready.do(Settle(heatsink=Criterion(relation="within", bound=1.0, unit="K"), per_s=30.0, timeout_s=60.0))


# -- the search ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def searched(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    """A search from far below, and the power at the level that it found."""
    with rig(tmp_path_factory.mktemp("searched")) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        bench.run.has_looked = True
        bench.taps.sent.clear()
        bench.do(FindCleanLevel(thd_n=0.01, from_v=0.01, to_v=2.0), MeasureContinuous(for_s=1.0))
        yield bench


def test_the_clean_level_is_where_distortion_reaches_its_bound(searched: Rig) -> None:
    assert searched.run.clean_levels[4.0, 1e3, ("A", "B")].thd_n == 0.01
    for figure in searched.figures("thd_n").values():
        assert 0.007 < figure.value < 0.0105


@pytest.mark.parametrize(
    ("bound", "plate", "verdict"),
    [
        (0.01, "10 %", "passes"),  # cleaner than the plate asks
        (0.01, "1 %", "passes"),
        (0.02, "1 %", ""),  # what distorts more than the plate allows says nothing about it
    ],
)
def test_a_power_is_held_against_the_plate_at_no_more_than_the_plates_distortion(
    tmp_path: Path, bound: float, plate: str, verdict: str
) -> None:
    """1 V is far below clipping, and far above the 20 W that this plate claims."""
    line = {"power: 150 W, thd_n: 1 %": f"power: 20 W, thd_n: {plate}"}
    with rig(tmp_path, files("power_off", amplifier=line)) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        bench.run.clean_levels[4.0, 1e3, ("A", "B")] = CleanLevel(1.0, bound, supply_set_v=14.4)
        bench.do(MeasureContinuous(for_s=0.5))
        powers = [
            figure for figure in bench.run.measured if figure.name == "continuous_power" and figure.channel == "A"
        ]
        assert [figure.verdict for figure in powers] == [verdict]


def test_the_search_never_steps_more_than_its_rule_above_what_is_known_clean(searched: Rig) -> None:
    (search,) = searched.events("search")
    clean_v = 0.01
    for exposure in search["exposures"]:
        assert exposure["level_v"] <= clean_v * STEP_RULE * (1 + 1e-9)
        if exposure["says"] == "clean":
            clean_v = max(clean_v, exposure["level_v"])
    assert levels_set_v(searched)[:-1] == pytest.approx([each["level_v"] for each in search["exposures"]], abs=1e-6)


def test_the_amplifier_is_silent_between_exposures_and_after_the_search(searched: Rig) -> None:
    exposures = len(searched.events("search")[0]["exposures"])
    switched = [text for text in searched.taps.to("generator") if text.startswith("OUTP O")]
    assert switched[: 2 * exposures] == ["OUTP ON", "OUTP OFF"] * exposures


def test_a_bound_that_is_never_reached_gives_the_highest_level_and_a_note(ready: Rig) -> None:
    ready.do(FindCleanLevel(thd_n=0.01, from_v=0.1, to_v=0.2))
    assert ready.run.clean_levels[4.0, 1e3, ("A", "B")].level_v == pytest.approx(0.2)
    assert any("distortion below 1 % up to 200 mV" in note for note in ready.audience.notes)


def test_a_search_that_starts_in_clipping_says_so(ready: Rig) -> None:
    with pytest.raises(MeasurementError, match="distortion is above 1 % already at"):
        ready.do(FindCleanLevel(thd_n=0.01, from_v=1.5, to_v=2.0))
    assert ready.run.clean_levels == {}


def test_a_search_that_fails_forgets_the_level_found_before(ready: Rig) -> None:
    """A level found on a cold amplifier must not stand for the hot one."""
    ready.run.clean_levels[4.0, 1e3, ("A", "B")] = CleanLevel(0.7, 0.01, supply_set_v=14.4)
    with pytest.raises(MeasurementError):
        ready.do(FindCleanLevel(thd_n=0.01, from_v=1.5, to_v=2.0))
    assert ready.run.clean_levels == {}


@pytest.mark.parametrize("step", [FindCleanLevel(), MeasureBurst(cycles=(1,)), MeasureContinuous(level=Level(0.1))])
def test_a_measurement_without_load_or_frequency_is_none(bench: Rig, step: FindCleanLevel) -> None:
    bench.do(POWER_ON)
    with pytest.raises(MeasurementError, match="no load is connected"):
        bench.do(step)


# -- idle ------------------------------------------------------------------------------------------------------


def test_idle_is_measured_undriven_and_judged(bench: Rig) -> None:
    bench.do(POWER_ON)
    bench.taps.sent.clear()
    bench.do(
        MeasureIdle(
            for_s=2.0,
            expect={"idle_current": below(2.5, "A"), "dc_offset": Criterion(relation="within", bound=0.005, unit="V")},
        )
    )
    assert "OUTP ON" not in bench.taps.to("generator")
    (current,) = bench.figures("idle_current").values()
    assert current.verdict == "passes"
    offsets = bench.figures("dc_offset")
    # sim/amplifiers/hx2150.yaml: 6 mV at A, -9 mV at B
    assert offsets["A"].value == pytest.approx(6e-3, abs=offsets["A"].expanded_uncertainty or 0.0)
    assert offsets["B"].value == pytest.approx(-9e-3, abs=offsets["B"].expanded_uncertainty or 0.0)
    assert offsets["B"].verdict in {"fails", "inconclusive"}


def test_idle_is_averaged_over_the_time_asked(bench: Rig) -> None:
    bench.do(POWER_ON)
    began_s = bench.clock.now()
    bench.do(MeasureIdle(for_s=10.0))
    event = bench.events("figures")[-1]
    assert len(event["readings"]["supply_current"]) == 40  # four a second
    assert bench.clock.now() - began_s == pytest.approx(10.1, abs=0.2)


# -- bursts ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def burst(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    """Bursts of two lengths."""
    with rig(tmp_path_factory.mktemp("burst")) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        bench.run.has_looked = True
        bench.taps.sent.clear()
        bench.do(MeasureBurst(cycles=(1, 8), every_s=0.25, low_level_ratio=0.1, from_v=0.4))
        yield bench


def test_bursts_are_measured_at_a_clean_and_a_full_drive_of_their_own(burst: Rig) -> None:
    by_length = {
        cycles: {
            figure.name: figure.value
            for figure in burst.run.measured
            if figure.burst_cycles == cycles and figure.channel in {"total", ""}
        }
        for cycles in (1, 8)
    }
    assert by_length[1]["burst_power_clean"] > by_length[8]["burst_power_clean"]
    assert by_length[8]["burst_power_first"] > by_length[8]["burst_power_last"]
    assert by_length[8]["burst_power_first"] > by_length[8]["burst_power_clean"]


def test_bursts_leave_a_low_steady_level_under_them_and_end_in_silence(burst: Rig) -> None:
    """So no end of the bursts can leave the amplifier at full drive."""
    assert max(levels_set_v(burst)) <= 0.1 * max(burst_levels_v(burst)) + 1e-6
    assert told(burst, "generator")[-3:] == ["OUTP OFF", "ABOR", "SOUR:VOLT:MODE FIX"]


def test_the_record_of_a_single_cycle_is_stored_once(burst: Rig) -> None:
    """First and worst cycle are the same one, so clean and full drive are; of eight cycles there are two records."""
    of_one, of_eight = (event for event in burst.events("figures") if event["analysis"] == "burst")
    assert of_one["captures"]["clean"] == of_one["captures"]["full"]
    assert of_eight["captures"]["clean"] != of_eight["captures"]["full"]
    stored = [event["number"] < of_one["number"] for event in burst.events("capture")]
    assert stored == [True, True, False, False]  # the first is that of the idle amplifier, at power_on


def test_a_burst_whose_record_fails_still_ends_in_a_steady_mode(ready: Rig) -> None:
    ready.taps.forge("oscilloscope", "CHAN1:SCAL", "1E-3")
    with pytest.raises(MeasurementError, match="no vertical range"):
        ready.do(MeasureBurst(cycles=(8,), every_s=0.25, from_v=0.5))
    assert told(ready, "generator")[-3:] == ["OUTP OFF", "ABOR", "SOUR:VOLT:MODE FIX"]


def test_a_sweep_whose_record_fails_leaves_the_generator_tuned_as_it_was(ready: Rig) -> None:
    """Or the next step would measure at another frequency than its figures say."""
    ready.taps.forge("oscilloscope", "CHAN1:SCAL", "1E-3")
    with pytest.raises(MeasurementError, match="no vertical range"):
        ready.do(MeasureResponse(from_hz=100.0, to_hz=2e3, per_octave=1))
    tuned = [text for text in ready.taps.to("generator") if text.startswith("SOUR:FREQ ")]
    assert float(tuned[-1].split()[1]) == 1e3
    assert (ready.run.conditions.frequency_hz, ready.run.conditions.drive) == (1e3, "undriven")


def test_crosstalk_whose_record_fails_leaves_every_input_driven(ready: Rig) -> None:
    ready.taps.forge("oscilloscope", "CHAN1:SCAL", "1E-3")
    with pytest.raises(MeasurementError, match="no vertical range"):
        ready.do(MeasureCrosstalk(from_hz=100.0, to_hz=400.0, per_octave=1))
    assert ready.run.fed == ("A", "B")
    assert ready.connections.closed_relays >= INPUT_RELAYS


def test_bursts_may_be_seconds_apart(ready: Rig) -> None:
    ready.do(MeasureBurst(cycles=(1,), every_s=5.0, from_v=0.5, to_v=0.6))
    assert ready.figures("burst_power_clean")["A"].value > 10.0


# -- continuous ------------------------------------------------------------------------------------------------


def test_continuous_power_at_a_given_level_is_that_of_ohms_law(ready: Rig) -> None:
    """0.1 V times the true gain of 31.9 (sim/amplifiers/hx2150.yaml) into the measured loads (sim/workshop.yaml)."""
    ready.do(MeasureContinuous(level=Level(0.1), for_s=1.0))
    for channel, measured_ohm in (("A", 4.013), ("B", 3.991)):
        figure = ready.figures("continuous_power")[channel]
        # The output resistance of 20 mohm divides the voltage.
        expected_w = (0.1 * 31.9 * measured_ohm / (measured_ohm + 0.02)) ** 2 / measured_ohm
        # Half a per cent of generator level and half of gain of the oscilloscope are not known to this sum.
        assert figure.value == pytest.approx(expected_w, rel=0.03)
    total = ready.figures("continuous_power")["total"].value
    assert total == pytest.approx(sum(ready.figures("continuous_power")[channel].value for channel in "AB"))


def test_continuous_power_takes_the_clean_level_and_is_judged_against_the_plate(searched: Rig) -> None:
    found = searched.run.clean_levels[4.0, 1e3, ("A", "B")]
    assert levels_set_v(searched)[-1] == pytest.approx(found.level_v, abs=1e-6)
    for channel in "AB":
        assert searched.figures("continuous_power")[channel].verdict == "passes"  # rated 150 W
    assert searched.figures("continuous_power")["total"].verdict == ""


def test_a_level_that_was_set_is_measured_at_for_as_long_as_it_drives_the_amplifier(ready: Rig) -> None:
    ready.do(Set(level=Level(0.1)), MeasureContinuous(for_s=1.0))
    assert levels_set_v(ready)[-1] == pytest.approx(0.1)
    ready.do(Set(level=Level(0.1)), MeasureIdle(for_s=1.0))  # which is measured undriven
    with pytest.raises(MeasurementError, match="no clean level is known"):
        ready.do(MeasureContinuous(for_s=1.0))


def test_a_tone_is_held_for_its_time_and_then_muted(ready: Rig) -> None:
    began_s = ready.clock.now()
    ready.do(MeasureContinuous(level=Level(0.1), for_s=5.0))
    assert ready.clock.now() - began_s == pytest.approx(5.6, abs=0.2)  # with a look at the terminals before it
    assert told(ready, "generator")[-1] == "OUTP OFF"
    event = ready.events("figures")[-1]
    assert len(event["readings"]["supply_current"]) == 20


def test_a_level_found_for_one_load_is_none_for_another(ready: Rig) -> None:
    ready.run.clean_levels[4.0, 1e3, ("A", "B")] = CleanLevel(0.7, 0.01, supply_set_v=14.4)
    ready.do(Set(load_ohm=2.0))
    with pytest.raises(MeasurementError, match="no clean level is known at 2 ohm and 1000 Hz"):
        ready.do(MeasureContinuous(for_s=1.0))


def test_a_record_carries_the_time_it_was_taken(ready: Rig) -> None:
    began_s = ready.clock.now()
    ready.do(MeasureContinuous(level=Level(0.1), for_s=1.0))
    event = ready.events("capture")[-1]
    assert began_s + 1.0 < event["taken_s"] <= ready.clock.now()


# -- require, and the run around the steps ---------------------------------------------------------------------


def test_a_requirement_that_holds_lets_the_run_go_on(bench: Rig) -> None:
    bench.do(POWER_ON, MeasureIdle(for_s=1.0), Require(criteria={"idle_current": below(2.5, "A")}))


def test_a_requirement_that_does_not_hold_says_what_was_measured(bench: Rig) -> None:
    bench.do(POWER_ON, MeasureIdle(for_s=1.0))
    with pytest.raises(RequirementFailed, match=r"idle_current is 1\.\d+ A and must be below 1 A"):
        bench.do(Require(criteria={"idle_current": below(1.0, "A")}))


def test_a_requirement_on_what_was_never_measured_does_not_hold(bench: Rig) -> None:
    with pytest.raises(RequirementFailed, match="thd_n must be below 1 %, and was never measured"):
        bench.do(Require(criteria={"thd_n": below(0.01, "1")}))


def test_what_is_inconclusive_within_its_uncertainty_does_not_hold(bench: Rig) -> None:
    bench.do(POWER_ON, MeasureIdle(for_s=1.0))
    (current,) = bench.figures("idle_current").values()
    with pytest.raises(RequirementFailed, match="inconclusive within its uncertainty"):
        bench.do(Require(criteria={"idle_current": below(current.value, "A")}))


def test_a_failed_requirement_ends_the_run_with_exit_code_1_on_a_safe_bench(tmp_path: Path) -> None:
    steps = (POWER_ON_LINE, "measure_idle: {for: 1 s}", "require: {idle_current: below 1 A}", "hold: {for: 1 h}")
    with rig(tmp_path, files(*steps)) as bench:
        outcome = bench.execute()
        assert bench.clock.now() < 10.0
    assert outcome.exit_code == 1
    assert isinstance(outcome.error, RequirementFailed)
    assert outcome.is_safe
    assert outcome.figures


def test_a_step_without_figures_is_told_and_the_run_goes_on_to_exit_code_1(tmp_path: Path) -> None:
    steps = (
        POWER_ON_LINE,
        "set: {load: 4 ohm, frequency: 1 kHz}",
        "find_clean_level: {thd_n: 1 %, from: 1.5 V, to: 2 V}",
        "measure_continuous: {for: 1 s}",
        "measure_idle: {for: 1 s}",
        "power_off",
    )
    with rig(tmp_path, files(*steps)) as bench:
        outcome = bench.execute()
        notes = [event["text"] for event in bench.events("note")]
        last_step = bench.events("step finished")[-1]["step"]
    assert outcome.error is None
    assert outcome.exit_code == 1
    assert [reason.split(":")[0] for reason in outcome.unmeasured] == ["3 find_clean_level", "4 measure_continuous"]
    assert "no clean level is known at 4 ohm and 1000 Hz" in outcome.unmeasured[1]
    assert any("4 measure_continuous gives no figures" in note for note in notes)
    assert {figure.name for figure in outcome.figures} >= {"idle_current"}
    assert not [figure for figure in outcome.figures if figure.name == "continuous_power"]
    assert last_step == "6 power_off"


def test_a_verdict_that_fails_ends_a_finished_run_with_exit_code_1(tmp_path: Path) -> None:
    steps = (POWER_ON_LINE, "measure_idle: {for: 1 s, expect: {idle_current: below 1 A}}", "power_off")
    with rig(tmp_path, files(*steps)) as bench:
        outcome = bench.execute()
    assert outcome.error is None
    assert outcome.verdicts("fails") == 1
    assert outcome.exit_code == 1


def test_an_instruments_own_error_ends_the_run_after_the_step_that_caused_it(tmp_path: Path) -> None:
    steps = (POWER_ON_LINE, "hold: {for: 10 s}", "hold: {for: 1 h}")
    with rig(tmp_path, files(*steps)) as bench:
        bench.at(5.0, lambda: bench.run.bench.supply.session.command("VOLTAGE TOO MUCH"))
        outcome = bench.execute()
        assert bench.clock.now() < 15.0
    assert outcome.exit_code == 5
    assert "supply at" in str(outcome.error)
    assert "reports error -" in str(outcome.error)


def test_every_gain_in_decibels_of_the_amplifier_file_is_an_amplitude_ratio() -> None:
    """30 dB: 10^(30/20). The search's first guess rests on it."""
    from tests.runner.rig import amplifier_file

    assert amplifier_file().gain_ratio == pytest.approx(math.pow(10.0, 1.5))


def test_what_a_prompt_asks_for_is_on_record_with_the_run(tmp_path: Path) -> None:
    these = files("prompt: {request: Set the controls, record: [gain, filters and boost]}")
    with rig(tmp_path, these) as bench:
        assert bench.execute().error is None
        assert bench.audience.requests == ["Set the controls", "gain", "filters and boost"]
        assert bench.run.recorder.positions == {"gain": "as it should be", "filters and boost": "as it should be"}
        (event,) = bench.events("hands")
    assert event["request"] == "Set the controls"
