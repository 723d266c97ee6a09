"""A load draws what its resistance makes it draw before the amplifier is driven hard into it."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.errors import InstrumentsDisagree
from benchctl.runner.acting.proving.loads import check_part
from tests.runner.rig import AT_4_OHM, POWER_ON, Edits, Rig, amplifier_file, bench_file, files, rig

SEED = "  seed: 2150\n"
RATED_LEVEL_V = 0.775  # 150 W into 4 ohm, with 30 dB of gain


def swapped(one: int, other: int) -> Edits:
    return {
        SEED: f"{SEED}  faults:\n    - {{kind: swapped, instrument: load, between: ['{one}', '{other}'], at: 0 s}}\n"
    }


def levels_v(bench: Rig) -> list[float]:
    return [float(text.split()[1]) for text in bench.taps.to("generator") if text.startswith("SOUR:VOLT 0")]


def checks(bench: Rig) -> int:
    return sum(event["analysis"] in {"check_relays", "check_loads"} for event in bench.events("figures"))


def test_each_load_is_tried_once_and_only_before_a_hard_drive(tmp_path: Path) -> None:
    """A drive of 10 dB below rated power and less is as low as the check itself."""
    with rig(tmp_path, tries_wiring=True) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.2)))
        assert checks(bench) == 0
        bench.do(Set(level=Level(0.5)), Set(load_ohm=2.0), Set(level=Level(0.5)), Set(load_ohm=4.0, level=Level(0.6)))
        assert checks(bench) == 1  # relays: every load of the bank at once
        assert max(level_v for level_v in levels_v(bench) if level_v < 0.5) <= RATED_LEVEL_V * 10 ** (-10 / 20)
        assert not [note for note in bench.audience.notes if "not checked" in note]
        assert bench.run.conditions.load_ohm == 4.0
        assert bench.connections.relays.closed >= {101, 102}
        assert not bench.connections.relays.closed & {103, 104}


@pytest.mark.parametrize(
    ("relays", "found", "cause"),
    [
        ((101, 103), "load of A: relay 103 adds", "another resistor is behind this relay"),
        ((101, 102), "load of A: relay 101, with input A driven, adds", "wired to another channel"),
    ],
)
def test_a_resistor_behind_the_wrong_relay_stops_the_run_before_the_first_hard_drive(
    tmp_path: Path, relays: tuple[int, int], found: str, cause: str
) -> None:
    """Where 4 ohm should be there are 2 ohm, or those of the other channel."""
    with rig(tmp_path, files("power_off", bench=swapped(*relays)), tries_wiring=True) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        with pytest.raises(InstrumentsDisagree, match=found) as stopped:
            bench.do(Set(level=Level(0.5)))
        assert cause in stopped.value.advice
        assert max(levels_v(bench)) <= RATED_LEVEL_V * 10 ** (-10 / 20)
        assert not bench.connections.drive.output_on


ONE_LOAD: Edits = {
    f"      - {{nominal: 2 ohm, channel: {channel}, relay: {relay}, measured: {ohm} ohm, uncertainty: 0.2 %,\n"
    "         temperature_coefficient: 60 ppm/K, rated_power: 1000 W}\n": ""
    for channel, relay, ohm in (("A", 103, "2.009"), ("B", 104, "2.004"))
}
COARSE: Edits = {"      current: {reading: 0.3 %, fixed: 60 mA}": "      current: {reading: 0.3 %, resolution: 5 A}"}


@pytest.mark.parametrize(("edits", "said"), [(ONE_LOAD, "only one load to compare"), (COARSE, "too little for the")])
def test_what_cannot_be_told_is_said_once_and_stops_nothing(tmp_path: Path, edits: Edits, said: str) -> None:
    with rig(tmp_path, files("power_off", bench=edits), tries_wiring=True) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.5)), Set(level=Level(0.6)))
        assert [said in note for note in bench.audience.notes if "not checked before high power" in note] == [True]


def test_the_level_is_the_lowest_at_which_the_draw_can_be_told() -> None:
    """250 W into 2 ohm are 22.4 V; 20 dB below that 2.24 V put 1.25 W into 4 ohm, 87 mA from 14.4 V: plenty for a
    display of milliamperes, too little for steps of 20 mA, for which 10 dB below are enough."""
    coarse = bench_file({"fixed: 60 mA}": "fixed: 60 mA, resolution: 20 mA}"})
    assert check_part(bench_file(), amplifier_file(), 4.0) == pytest.approx(10 ** (-20 / 20))
    assert check_part(coarse, amplifier_file(), 4.0) == pytest.approx(10 ** (-15 / 20))


def test_a_bias_that_carries_the_whole_current_of_the_check_asks_for_a_higher_level() -> None:
    """6 A at 14.4 V are 86 W of idle power, or 43 W a channel on rails of 31.6 V at least: 1.37 A of peak current, and
    2.24 V into 4 ohm have 0.79 A."""
    biased = amplifier_file({"idle_current: 1.6 A": "idle_current: 6 A"})
    assert check_part(bench_file(), biased, 4.0) == pytest.approx(10 ** (-10 / 20))
