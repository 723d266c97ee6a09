"""Instruments are held against each other before the amplifier is driven hard, and what they contradict stops a run."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import PowerOff, Set
from benchctl.documents.sequence_file.measuring_steps import MeasureIdle
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureContinuous
from benchctl.documents.sequence_file.steps import Require
from benchctl.errors import InstrumentsDisagree, MeasurementError, RequirementFailed
from benchctl.runner.engine.progress import progress_of
from tests.runner.rig import NO_CLAMP, POWER_ON, POWER_ON_LINE, Edits, Plugging, Rig, files, rig, with_inputs

AT_4_OHM = Set(load_ohm=4.0, frequency_hz=1e3)
SEED = "  seed: 2150\n"
EFFICIENCY = {"efficiency": Criterion(relation="above", bound=0.1, unit="1")}


def wrong(of: str, factor: float, instrument: str = "supply", at: str = "at: 0 s") -> Edits:
    """The edit of the workshop's bench by which an instrument is wrong."""
    fault = f"{{kind: wrong by a factor, instrument: {instrument}, of: {of}, factor: {factor:g}, {at}}}"
    return {SEED: f"{SEED}  faults:\n    - {fault}\n"}


def looks(bench: Rig) -> list[dict[str, object]]:
    return [dict(event) for event in bench.events("figures") if event["analysis"] == "look"]


def test_supply_and_clamp_are_compared_as_soon_as_the_amplifier_idles(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON)
        (look,) = looks(bench)
    assert [each["quantity"] for each in look["comparisons"]] == [  # type: ignore[attr-defined]
        "supply current",  # which the supply reads above nothing
        "supply current",  # as the clamp does
        "supply current",  # and both alike
        "supply voltage",
    ]


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_supply_that_contradicts_the_clamp_stops_the_run_while_the_amplifier_idles(
    tmp_path: Path, factor: float
) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, "measure_idle: {for: 1 s}", bench=wrong("current", factor))) as bench:
        outcome = bench.execute()
        assert isinstance(outcome.error, InstrumentsDisagree)
        assert (outcome.exit_code, outcome.is_safe, outcome.figures) == (5, True, ())
        assert "OUTP ON" not in bench.taps.to("generator")
    for words in ("the supply reads", "the clamp shows", "apart"):
        assert words in str(outcome.error)
    assert "second unit in parallel" in outcome.error.advice


def test_a_bench_without_a_clamp_has_nothing_to_compare_its_current_with(tmp_path: Path) -> None:
    """So the run goes on; the report says that one instrument alone has seen it."""
    with rig(tmp_path, files("power_off", bench={**NO_CLAMP, **wrong("current", 0.5)})) as bench:
        bench.begin()
        bench.do(POWER_ON, MeasureIdle(for_s=1.0))
        assert not bench.run.contradictions


def test_the_first_drive_after_each_power_on_is_preceded_by_a_look_thirty_decibels_below_rated(tmp_path: Path) -> None:
    """150 W into 4 ohm are 24.5 V, and the gain is 30 dB: 0.775 V, and 24.5 mV for the look."""
    with rig(tmp_path, tries_wiring=True) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.1)), Set(level=Level(0.2)))
        levels = [text.split()[1] for text in bench.taps.to("generator") if text.startswith("SOUR:VOLT 0")]
        # At both inputs; then, once in a run, at each alone.
        assert [float(level) for level in levels] == pytest.approx([*[0.0245] * 3, 0.1, 0.2], abs=1e-4)
        bench.do(PowerOff(), POWER_ON, AT_4_OHM, Set(level=Level(0.1)))
        levels = [text.split()[1] for text in bench.taps.to("generator") if text.startswith("SOUR:VOLT 0")]
        assert [float(level) for level in levels[5:]] == pytest.approx([0.0245, 0.1], abs=1e-4)
        assert len(looks(bench)) == 4


SWAPPED = "{{kind: swapped, instrument: {0}, between: ['{1}', '{2}'], at: 0 s}}"


@pytest.mark.parametrize("swapped", [("oscilloscope", "output A", "output B"), ("generator", "A", "B")])
def test_an_output_that_answers_another_input_stops_the_run_at_a_low_level(
    tmp_path: Path, swapped: tuple[str, str, str]
) -> None:
    """With both inputs driven nothing can be seen of it."""
    bench_edit = {SEED: f"{SEED}  faults:\n    - {SWAPPED.format(*swapped)}\n"}
    with rig(tmp_path, files("power_off", bench=bench_edit), tries_wiring=True) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        with pytest.raises(InstrumentsDisagree, match="with input A alone driven, output B shows") as stopped:
            bench.do(Set(level=Level(0.5)))
        assert "changed places" in stopped.value.advice
        assert (
            max(float(text.split()[1]) for text in bench.taps.to("generator") if text.startswith("SOUR:VOLT 0")) < 0.03
        )


def test_a_reversed_probe_is_told_and_stops_nothing(tmp_path: Path) -> None:
    """Some amplifiers invert a channel by design, and no power depends on it."""
    with rig(tmp_path, files("power_off", bench=wrong("output A", -1.0, "oscilloscope"))) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.1)))
        assert any(note.startswith("polarity of A") and "wrong way round" in note for note in bench.audience.notes)
        assert not any(note.startswith("polarity of B") for note in bench.audience.notes)


def test_what_a_hand_has_plugged_is_looked_at_anew(tmp_path: Path) -> None:
    """The person puts the plug for input A into input B."""

    class Careless(Plugging):
        def plug(self, channels: Sequence[str]) -> None:
            super().plug(["B"] if list(channels) == ["A"] else channels)

    with rig(tmp_path, files("power_off", bench=with_inputs("{by: hand}")), tries_wiring=True) as bench:
        bench.run.hands = Careless(bench)
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.1)))
        assert sum("not checked before high power: which output" in note for note in bench.audience.notes) == 1
        with pytest.raises(InstrumentsDisagree, match="with input A alone driven, output B shows"):
            bench.do(Set(driven=("A",), level=Level(0.1)))


def test_a_look_is_never_louder_than_what_the_step_begins_with(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.002)))
        assert "SOUR:VOLT 0.002000" in bench.taps.to("generator")
        assert looks(bench)[-1]["context"]["level_v"] == pytest.approx(0.002)  # type: ignore[index]


# The command `python -m benchmarks.contradictions` tries every factor.
@pytest.mark.parametrize(
    ("instrument", "of", "factor"),
    [("generator", "level", 2.0), ("generator", "level", 0.0), ("oscilloscope", "output B", 0.5)],
)
def test_an_output_that_is_not_what_goes_in_times_the_gain_stops_the_run_at_a_low_level(
    tmp_path: Path, instrument: str, of: str, factor: float
) -> None:
    with rig(tmp_path, files("power_off", bench=wrong(of, factor, instrument))) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        with pytest.raises(InstrumentsDisagree, match=r"output voltage of B: the oscilloscope shows"):
            bench.do(FindCleanLevel(thd_n=0.01, from_v=0.01, to_v=2.0))
        assert not bench.events("search")
        told = [text for role, text in bench.taps.commands() if role == "generator"]
        assert [text for text in told if text.startswith("OUTP")][-1] == "OUTP OFF"
        assert not bench.connections.drive.output_on


def test_a_look_that_gives_no_record_leaves_the_amplifier_undriven(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        bench.taps.forge("oscilloscope", "CHAN1:SCAL", "1E-3")
        with pytest.raises(MeasurementError, match="no vertical range"):
            bench.do(Set(level=Level(0.5)))
        assert not bench.connections.drive.output_on


def test_an_amplifier_whose_low_pass_takes_the_tone_is_looked_at_under_another(tmp_path: Path) -> None:
    low_pass = "  filters:\n    - {kind: low-pass, corner: 100 Hz, slope: 24 dB/octave}\n"
    with rig(
        tmp_path, files("power_off", amplifier={"  gain: 31.9 ": f"{low_pass}  gain: 31.9 "}), tries_wiring=True
    ) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.5)))
        tones = looks(bench)[-1]["context"]["tones_hz"]  # type: ignore[index]
        assert list(tones.values()) == [1000.0, 50.0]
        assert bench.connections.drive.frequency_hz == pytest.approx(1000.0, rel=1e-3)


# -- a contradiction that shows only under load ---------------------------------------------------------------------


HALF_FROM_7_S = wrong("current", 0.5, at="at: 7.1 s")


@pytest.fixture(scope="module")
def halved(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    """0.5 V are 30 W a channel; the supply's second unit joins in only now, and half of the current is read."""
    folder = tmp_path_factory.mktemp("halved")
    with rig(folder, files("power_off", bench=HALF_FROM_7_S), takes_zeros=True) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM, MeasureIdle(for_s=1.0), Set(level=Level(0.5)))
        bench.do(MeasureContinuous(level=Level(0.5), for_s=2.0, expect=EFFICIENCY))
        yield bench


def test_under_load_the_figures_that_rest_on_it_keep_their_values_and_have_no_verdict(halved: Rig) -> None:
    (efficiency,) = halved.figures("efficiency").values()
    assert efficiency.verdict == "inconclusive"
    assert "second unit in parallel" in efficiency.contradiction
    assert any("the clamp shows" in note for note in halved.audience.notes)
    # What was measured of the current before rests on the same instruments.
    (idle,) = halved.figures("idle_current").values()
    assert idle.contradiction
    assert not halved.figures("thd_n")["A"].contradiction


def test_nothing_drives_the_amplifier_hard_after_a_contradiction(halved: Rig) -> None:
    halved.taps.sent.clear()
    with pytest.raises(InstrumentsDisagree):
        halved.do(MeasureContinuous(level=Level(0.6), for_s=1.0))
    assert halved.taps.to("generator") == []


def test_a_requirement_on_a_contradicted_figure_does_not_hold(halved: Rig) -> None:
    with pytest.raises(RequirementFailed, match=r"efficiency is .* which is inconclusive"):
        halved.do(Require(criteria=EFFICIENCY))


def test_a_run_that_goes_on_is_looked_at_anew_and_its_earlier_figures_stay_inconclusive(halved: Rig) -> None:
    """Whoever goes on has put right what was wrong, or is told again."""
    halved.run.recorder.event("run resumed", index=0, step="")
    progress = progress_of(halved.plan, halved.events())
    assert {figure.verdict for figure in progress.measured if figure.name == "efficiency"} == {"inconclusive"}
