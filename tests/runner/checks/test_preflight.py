"""Preflight: nothing is energised before every hazard is ruled out, and each is told in figures."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from benchctl import library
from benchctl.documents.reader import load_amplifier, load_bench, load_sequence
from benchctl.errors import PreflightRefused
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from tests.instruments.test_roles import with_electronic_load
from tests.runner.rig import NO_BRIDGE, POWER_ON_LINE, Edits, files, rig, shipped, with_inputs

SET_4_OHM = "set: {load: 4 ohm, frequency: 1 kHz}"
SET_2_OHM = "set: {load: 2 ohm, frequency: 1 kHz}"
FIND = "find_clean_level: {thd_n: 1 %}"
CONTINUOUS = "measure_continuous: {for: 5 s}"
BURST = "measure_burst: {cycles: [8]}"


def checked(
    *steps: str,
    limits: Mapping[str, str] | None = None,
    bench: Edits | None = None,
    amplifier: Edits | None = None,
    unattended: bool = False,
) -> Preflight:
    these = files(*steps, limits=limits, bench=bench, amplifier=amplifier)
    return preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=unattended)


def hazards(
    *steps: str,
    limits: Mapping[str, str] | None = None,
    bench: Edits | None = None,
    amplifier: Edits | None = None,
    unattended: bool = False,
) -> tuple[str, ...]:
    return checked(*steps, limits=limits, bench=bench, amplifier=amplifier, unattended=unattended).hazards


def without(role: str) -> Edits:
    """An edit that takes a role out of the workshop's bench; without a load no relay feeds an input."""
    text = shipped("benches", "workshop")
    block = re.search(rf"  {role}:\n(?:    .*\n|\n)+", text)
    assert block is not None
    return {block.group(): "", **(with_inputs("") if role == "load" else {})}


UNBRIDGED = [name for name in sorted(library.shipped("sequences")) if load_sequence(name).bridged is None]


@pytest.mark.parametrize("name", UNBRIDGED)
def test_every_shipped_sequence_passes_on_the_workshops_bench(name: str) -> None:
    amplifier, bench = load_amplifier("hx2150"), "multimeter_bench" if name == "bias_and_rails" else "workshop"
    these = Files(load_sequence(name, amplifier), load_bench(bench), amplifier)
    found = preflight(these, expand(these.sequence, amplifier, these.bench), unattended=False).hazards
    assert found == ()


def test_what_is_refused_is_an_error_with_every_hazard() -> None:
    both = checked("power_on: {voltage: 17 V, current_limit: 130 A}")
    with pytest.raises(PreflightRefused) as caught:
        both.refuse_hazards()
    assert caught.value.exit_code == 3
    assert len(caught.value.hazards) == 2


def test_a_hazard_names_the_step_and_the_point_it_comes_from() -> None:
    (found,) = hazards(POWER_ON_LINE, "sweep: {load: [4 ohm, 1 ohm]}\n    steps: [{hold: {for: 1 s}}]", bench=one_ohm())
    assert found == "2 set [1 ohm]: 1 ohm is below the amplifier's minimum load of 2 ohm; connect no less"


def one_ohm() -> Edits:
    """The workshop's 4 ohm resistors with 1 ohm ones beside them."""
    line = "      - {nominal: 4 ohm, channel: A, relay: 101"
    extra = "".join(
        f"      - {{nominal: 1 ohm, channel: {channel}, relay: {relay}, measured: 1.001 ohm, uncertainty: 0.2 %,\n"
        "         temperature_coefficient: 60 ppm/K, rated_power: 1000 W}\n"
        for channel, relay in (("A", 107), ("B", 108))
    )
    return {line: extra + line}


def test_an_earthed_probe_on_a_floating_output_is_refused() -> None:
    found = hazards(
        "power_off",
        bench={"A: {oscilloscope: 1, probe: {kind: differential": "A: {oscilloscope: 1, probe: {kind: single-ended"},
        amplifier={"outputs: grounded": "outputs: floating"},
    )
    assert found == (
        "output A is floating and its probe, on oscilloscope channel 1, is single-ended: "
        "its earth lead would short half of the output stage; use a differential probe",
    )


def test_an_earthed_probe_on_a_grounded_output_is_no_hazard() -> None:
    assert not hazards(
        "power_off",
        bench={"A: {oscilloscope: 1, probe: {kind: differential": "A: {oscilloscope: 1, probe: {kind: single-ended"},
    )


def test_a_load_that_the_bench_lacks_is_refused_with_the_channels_that_miss_it() -> None:
    assert hazards("set: {load: 8 ohm}") == (
        "1 set: the bench has no 8 ohm load at channel A and B; there are 2 ohm and 4 ohm",
    )


def test_an_electronic_load_at_one_channel_leaves_the_other_unloaded() -> None:
    assert hazards("set: {load: 4 ohm}", bench=with_electronic_load()) == (
        "1 set: the bench has no 4 ohm load at channel B; there is one of 1 ohm to 1 kohm at channel A alone",
    )


def test_more_watts_than_a_resistor_bears_for_the_time_asked_are_refused() -> None:
    """150 W rated, a fifth more at most, into 60 W for 300 s. Each second leaves two of the rating on top; 12.5 s of
    them are allowed, and the search before took a part of that."""
    weak = {
        "temperature_coefficient: 60 ppm/K, rated_power: 600 W": "temperature_coefficient: 60 ppm/K, rated_power: 60 W"
    }
    found = hazards(POWER_ON_LINE, SET_4_OHM, FIND, "measure_continuous: {for: 300 s}", bench=weak)
    (told,) = found
    assert told.startswith(
        "4 measure_continuous: the 4 ohm load at A and B is rated 60 W; this step may put 180 W into it for 300.2 s, "
        "and it can take that for "
    )
    assert told.endswith(" s; lower the level, shorten the step, or wire a larger one")
    (seconds,) = re.findall(r"can take that for ([\d.]+) s", told)
    assert 5.0 < float(seconds) <= 6.25


def test_overloads_that_follow_each_other_add_up() -> None:
    """180 W into 60 W leave two seconds of the rating a second: more than 12.5 s in three steps of 2 s and a little."""
    weak = {
        "temperature_coefficient: 60 ppm/K, rated_power: 600 W": "temperature_coefficient: 60 ppm/K, rated_power: 60 W"
    }
    tone, rest = "measure_continuous: {for: 2 s, level: 849 mV}", "hold: {for: 10 s}"
    assert not hazards(POWER_ON_LINE, SET_4_OHM, tone, bench=weak)
    told = hazards(POWER_ON_LINE, SET_4_OHM, *[tone] * 4, bench=weak)
    assert told[0].startswith("5 measure_continuous: the 4 ohm load at A and B is rated 60 W")
    assert "warm from the steps before" in told[0]
    assert not hazards(POWER_ON_LINE, SET_4_OHM, *[tone, rest] * 4, bench=weak)


def test_a_resistor_at_a_channel_that_the_amplifier_has_not_got_is_not_looked_at() -> None:
    of_b = (
        "channel: B, relay: 102, measured: 3.991 ohm, uncertainty: 0.2 %,\n         temperature_coefficient: 60 ppm/K, "
    )
    weak_b = {f"{of_b}rated_power: 600 W": f"{of_b}rated_power: 6 W"}
    steps = (POWER_ON_LINE, SET_4_OHM, FIND, CONTINUOUS)
    assert hazards(*steps, bench=weak_b)
    mono = NO_BRIDGE | {"channels: [A, B]": "channels: [A]", "offset: {A: 6 mV, B: -9 mV}": "offset: {A: 6 mV}"}
    assert not hazards(*steps, bench=weak_b, amplifier=mono)


def test_more_volts_than_an_electronic_load_takes_are_refused() -> None:
    """100 W without clipping into 4 ohm are 28.3 V peak."""
    mono = NO_BRIDGE | {"channels: [A, B]": "channels: [A]", "offset: {A: 6 mV, B: -9 mV}": "offset: {A: 6 mV}"}
    edits = with_electronic_load()
    (text,) = (text for text in edits.values() if "power: " in text)
    rated = text.replace("power: 1000 W", "voltage: 20 V, power: 1000 W")
    edits = {old: rated if new == text else new for old, new in edits.items()}
    found = hazards(POWER_ON_LINE, SET_4_OHM, "set: {level: 632 mV}", bench=edits, amplifier=mono)
    assert any("may reach 28.26 V peak and the electronic load is rated 20 V; " in text for text in found), found


def test_an_overload_of_a_moment_is_no_hazard() -> None:
    weak = {
        "temperature_coefficient: 60 ppm/K, rated_power: 600 W": "temperature_coefficient: 60 ppm/K, rated_power: 100 W"
    }
    assert not hazards(POWER_ON_LINE, SET_4_OHM, BURST, FIND, "measure_continuous: {for: 2 s}", bench=weak)


def test_a_tone_at_a_low_level_is_taken_for_what_it_is() -> None:
    """100 mV and 30 dB are 3.2 V, 2.5 W: nothing to a 60 W resistor, for however long."""
    weak = {
        "temperature_coefficient: 60 ppm/K, rated_power: 600 W": "temperature_coefficient: 60 ppm/K, rated_power: 60 W"
    }
    assert not hazards(POWER_ON_LINE, SET_4_OHM, "set: {level: 100 mV}", "hold: {for: 2 h}", bench=weak)


def test_a_current_limit_below_the_expected_current_is_refused() -> None:
    found = hazards("power_on: {voltage: 14.4 V, current_limit: 50 A}", SET_2_OHM, FIND, CONTINUOUS)
    assert any(
        re.search(r"this step may draw 7\d\.\d+ A and the supply's current limit is 50 A", text) for text in found
    )


def test_a_current_clamp_rated_for_less_is_refused() -> None:
    found = hazards(POWER_ON_LINE, SET_2_OHM, FIND, CONTINUOUS, bench={"rating: 200 A": "rating: 60 A"})
    assert any("the current clamp is rated 60 A" in text for text in found)


@pytest.mark.parametrize(
    ("power_on", "words"),
    [
        ("{voltage: 17 V, current_limit: 90 A}", "17 V is more than the amplifier bears; stay within 16 V"),
        ("{voltage: 9 V, current_limit: 90 A}", "9 V is less than the amplifier needs; give 10.5 V or more"),
        (
            "{voltage: 14.4 V, current_limit: 130 A}",
            "a current limit of 130 A is more than the supply's output 'main' gives; stay within 120 A",
        ),
    ],
)
def test_a_supply_setting_that_does_not_fit_is_refused(power_on: str, words: str) -> None:
    assert hazards(f"power_on: {power_on}") == (f"1 power_on: {words}",)


@pytest.mark.parametrize("step", ["drive_by_hand", "check_bench"])
def test_a_step_that_switches_the_amplifier_on_itself_is_held_to_what_amplifier_and_supply_bear(step: str) -> None:
    found = hazards(f"{step}: {{voltage: 17 V, current_limit: 130 A}}")
    assert any("17 V is more than the amplifier bears; stay within 16 V" in each for each in found)
    assert any("a current limit of 130 A is more than the supply's output 'main' gives" in each for each in found)


def test_a_supply_too_weak_for_the_voltage_asked_is_refused() -> None:
    found = hazards(POWER_ON_LINE, bench={"main: {number: 1, voltage: 20 V": "main: {number: 1, voltage: 13 V"})
    assert found == ("1 power_on: 14.4 V is more than the supply's output 'main' gives; stay within 13 V",)


def test_more_volts_than_a_probe_is_rated_for_are_refused() -> None:
    """240 W peak into 4 ohm are 43.8 V peak."""
    weak = {"ratio: 20, rating: 400 V": "ratio: 20, rating: 30 V"}
    found = hazards(POWER_ON_LINE, SET_4_OHM, BURST, bench=weak)
    assert found == tuple(
        f"3 measure_burst: output {channel} may reach 43.82 V peak and its probe is rated 30 V; "
        "lower the level, or use a probe rated for it"
        for channel in "AB"
    )


def test_more_volts_than_an_oscilloscope_input_takes_are_refused() -> None:
    found = hazards(POWER_ON_LINE, SET_4_OHM, BURST, bench={"input: 300 V": "input: 2 V"})
    assert found[0] == (
        "3 measure_burst: output A may put 2.191 V on oscilloscope channel 1, which takes 2 V; "
        "use a probe of a higher ratio than 20"
    )


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (
            {"ratio: 10, rating: 300 V": "ratio: 10, rating: 12 V"},
            "14.4 V is more than the probe on the supply is rated, 12 V; use one rated for it",
        ),
        (
            {"input: 300 V": "input: 1 V"},
            "the supply puts 1.44 V on oscilloscope channel 4, which takes 1 V; use a probe of a higher ratio than 10",
        ),
    ],
)
def test_more_volts_than_the_supplys_own_probe_or_input_takes_are_refused(edit: Edits, words: str) -> None:
    assert hazards(POWER_ON_LINE, bench=edit) == (f"1 power_on: {words}",)


@pytest.mark.parametrize(
    ("role", "step"),
    [
        ("generator", "measure_idle: {for: 1 s}"),
        ("oscilloscope", "measure_idle: {for: 1 s}"),
        ("load", FIND),
        ("generator", BURST),
        ("oscilloscope", CONTINUOUS),
    ],
)
def test_a_role_that_a_step_needs_and_the_bench_lacks_is_refused(role: str, step: str) -> None:
    found = hazards(POWER_ON_LINE, step, bench=without(role))
    article = "an" if role[0] == "o" else "a"
    needs = f"needs {article} {role}, and the bench file has none; add it under 'instruments', or leave the step out"
    assert any(text.endswith(needs) for text in found)


def test_settling_needs_only_what_it_looks_at() -> None:
    needs = (
        "1 settle: needs a thermometer, and the bench file has none; add it under 'instruments', or leave the step out"
    )
    assert needs in hazards("settle: {heatsink: within 1 K}", bench=without("thermometer"))
    assert needs not in hazards("settle: {supply_current: within 50 mA}", bench=without("thermometer"))


def test_a_limit_without_a_sensor_is_refused() -> None:
    no_sensor = {", load: 103}": "}"}
    found = hazards("power_off", limits={"load": "{above: 100 degC}"}, bench=no_sensor)
    assert found == tuple(
        f"the {origin} limits load (above {bound}) and the bench has no thermometer channel that reads it; "
        "what cannot be read counts as passed; add the sensor to the bench file, or remove the limit"
        for origin, bound in (("sequence", "100 degC"), ("bench", "180 degC"))
    )


def test_a_heatsink_that_nobody_watches_is_refused() -> None:
    found = hazards("power_off", bench={"channels: {heatsink: 101, ": "channels: {"})
    assert found == (
        "no thermometer channel is on the heatsink, so its maximum of 85 degC cannot be watched; "
        "give its channel in the bench file, 'channels: {heatsink: ...}', or say that nothing watches it, "
        "'unwatched: [heatsink]'",
    )


def test_a_turn_on_lead_by_hand_needs_hands() -> None:
    by_hand = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: hand}"}
    assert hazards(POWER_ON_LINE, bench=by_hand, unattended=False) == ()
    assert hazards(POWER_ON_LINE, bench=by_hand, unattended=True) == (
        "the remote turn-on lead is switched by hand, and nobody is present in an unattended run; "
        "feed it from a supply output or a relay, or be present",
    )


def test_a_turn_on_lead_that_nothing_feeds_is_refused() -> None:
    nothing = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}": ""}
    assert hazards(POWER_ON_LINE, bench=nothing) == (
        "the amplifier has a remote turn-on lead, which needs 12 V, and nothing on the bench feeds it: "
        "it would stay asleep; say in the bench file what does, 'remote_turn_on: {by: ...}'",
    )


def test_an_output_that_the_oscilloscope_does_not_see_is_refused() -> None:
    found = hazards(
        "power_off",
        amplifier={
            "channels: [A, B]": "channels: [A, B, C]",
            "offset: {A: 6 mV, B: -9 mV}\n": "noise: 0.3 mV\n",
            "  noise: 0.3 mV\n  noise": "  noise",
        },
    )
    assert found == (
        "the amplifier's output C is not wired to the oscilloscope, so nothing of it can be seen; wired are A, B; "
        "add it under 'signals' in the bench file, or say that it is not measured, 'unwatched: [output C]'",
    )


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ((POWER_ON_LINE, BURST), "no load is connected: 'set' or 'sweep' a load first"),
        ((POWER_ON_LINE, "set: {load: 4 ohm}", BURST), "no frequency is set: 'set' or 'sweep' a frequency first"),
        (
            (POWER_ON_LINE, SET_4_OHM, CONTINUOUS),
            "comes before it at 4 ohm and 1 kHz; put one before it, or give a level",
        ),
        (
            (POWER_ON_LINE, SET_4_OHM, "measure_burst: {cycles: [600], every: 500 ms}"),
            "a burst of 600 cycles lasts 600 ms and one begins every 500 ms; take fewer cycles, or a longer 'every'",
        ),
        (
            (POWER_ON_LINE, "set: {level: 8 V}"),
            "a level of 8 V is more than the generator gives, 7 V; lower it, or turn the amplifier's gain up",
        ),
    ],
)
def test_a_sequence_that_could_not_work_is_refused_beforehand(steps: tuple[str, ...], words: str) -> None:
    assert any(text.endswith(words) for text in hazards(*steps))


def test_a_frequency_beyond_the_generators_is_refused() -> None:
    (found,) = hazards(
        POWER_ON_LINE,
        "set: {frequency: 150 kHz}",
        bench={"level: 7 V, frequency: 1 MHz": "level: 7 V, frequency: 100 kHz"},
    )
    assert found.endswith("150 kHz is more than the generator gives; stay within 100 kHz")


def test_a_level_that_follows_from_rated_power_is_held_against_the_generator_too() -> None:
    """24.5 V over 10 dB of gain are 7.75 V."""
    soak = "soak: {for: 1 min, level: 100 % rated}"
    found = hazards(POWER_ON_LINE, SET_4_OHM, soak, amplifier={"gain: 30 dB": "gain: 10 dB"})
    assert any("a level of 7.746 V is more than the generator gives, 7 V" in text for text in found)


def test_a_hazard_is_told_once_however_often_it_comes() -> None:
    repeated = ("hold: {for: 1 s}", "set: {load: 8 ohm}", "hold: {for: 1 s}")
    assert len(hazards(*repeated)) == 1


def test_a_refused_run_touches_nothing(tmp_path: Path) -> None:
    from benchctl.launch.run import Documents, run

    sequence = tmp_path / "sequence.yaml"
    sequence.write_text("benchctl: sequence 1\ntitle: Refused\nsteps:\n  - set: {load: 8 ohm}\n")
    with pytest.raises(PreflightRefused):
        run(Documents(sequence, "workshop", "hx2150"), Silent(), out=tmp_path / "runs")
    assert not (tmp_path / "runs").exists()


class Silent:
    """An observer that must never be asked for anything."""

    def __getattr__(self, name: str) -> object:
        raise AssertionError(f"{name} was called")


# -- time ------------------------------------------------------------------------------------------------------

TIMED = (
    POWER_ON_LINE,
    "measure_idle: {for: 5 s}",
    SET_4_OHM,
    "measure_burst: {cycles: [1, 8], every: 250 ms}",
    FIND,
    "measure_continuous: {for: 2 s}",
    "hold: {for: 10 s}",
    "power_off",
)


def test_the_time_foreseen_is_the_time_taken_to_a_tenth(tmp_path: Path) -> None:
    these = files(*TIMED)
    foreseen_s = preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=False).duration_s
    with rig(tmp_path, these, tries_wiring=True) as bench:
        assert bench.execute().error is None
        taken_s = bench.clock.now()
    assert foreseen_s == pytest.approx(taken_s, rel=0.1)


def test_an_open_wait_counts_with_its_timeout_at_most() -> None:
    """How long cooling takes nobody knows beforehand."""
    found = checked("cool: {heatsink: below 45 degC, timeout: 40 min}", "hold: {for: 10 s}")
    assert found.duration_s == 10.0
    assert found.at_most_s == 2410.0
