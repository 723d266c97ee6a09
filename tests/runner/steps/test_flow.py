"""Steps that hold others: repeats, conditions, and what is asked of a person."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.reader import load_amplifier, load_sequence
from benchctl.errors import DocumentError
from benchctl.runner.plan import PlannedStep, expand
from tests.runner.generator_forms import with_generator
from tests.runner.rig import Edits, bench_file, with_inputs

HX2150 = load_amplifier("hx2150")
HEAD = "benchctl: sequence 1\ntitle: Flow\nsteps:\n  - power_on: {voltage: 14.4 V, current_limit: 90 A}\n"


def plan(folder: Path, steps: str, bench: Edits | None = None) -> tuple[PlannedStep, ...]:
    path = folder / "sequence.yaml"
    path.write_text(HEAD + steps)
    return expand(load_sequence(path, HX2150), HX2150, bench_file(bench))[1:]


def test_a_repeat_is_written_out_with_its_turn(tmp_path: Path) -> None:
    steps = plan(tmp_path, "  - repeat: {times: 3}\n    steps: [{hold: {for: 1 s}}]\n")
    assert [step.label for step in steps] == [f"2.1 hold [{turn} of 3]" for turn in (1, 2, 3)]


def test_a_sweep_in_a_repeat_names_both(tmp_path: Path) -> None:
    steps = plan(
        tmp_path,
        "  - repeat: {times: 2}\n    steps:\n      - sweep: {supply: [12 V]}\n        steps: [{hold: {for: 1 s}}]\n",
    )
    assert [step.point for step in steps if step.step.kind == "hold"] == ["1 of 2, 12 V", "2 of 2, 12 V"]


def test_a_condition_on_the_amplifier_is_decided_beforehand(tmp_path: Path) -> None:
    text = "  - when: {{amplifier: {{class: {}}}}}\n    steps: [{{hold: {{for: 1 s}}}}]\n"
    assert len(plan(tmp_path, text.format("AB"))) == 1
    assert len(plan(tmp_path, text.format("D"))) == 0


@pytest.mark.parametrize(("channels", "is_performed"), [("above 1", True), ("above 2", False), ("below 2", False)])
def test_a_condition_may_ask_how_many_channels_there_are(tmp_path: Path, channels: str, is_performed: bool) -> None:
    """The HX 2150 has two."""
    steps = f"  - when: {{amplifier: {{channels: {channels}}}}}\n    steps: [{{hold: {{for: 1 s}}}}]\n"
    assert bool(plan(tmp_path, steps)) is is_performed


RELAYS = "{by: relay, relays: {A: 201, B: 202}}"
ONE_RELAY = "{by: relay, relays: {A: 201}}"
HANDS = "{by: hand}"


@pytest.mark.parametrize(
    ("inputs", "enough_for"),
    [(RELAYS, {"relay", "either"}), (ONE_RELAY, set()), (HANDS, {"hand", "either"}), ("", set())],
)
@pytest.mark.parametrize("asked", ["relay", "hand", "either"])
def test_a_condition_may_ask_how_each_input_is_driven_alone(
    tmp_path: Path, asked: str, inputs: str, enough_for: set[str]
) -> None:
    steps = f"  - when: {{bench: {{inputs: {asked}}}}}\n    steps: [{{hold: {{for: 1 s}}}}]\n"
    planned = plan(tmp_path, steps, with_inputs(inputs))
    assert bool(planned) is (asked in enough_for)


@pytest.mark.parametrize(
    ("form", "plays"),
    [
        ("key_value_list", {"square waves"}),
        ("table_as_text", {"square waves", "two tones"}),
        ("bus_trigger", {"square waves", "two tones"}),
    ],
)
@pytest.mark.parametrize("asked", ["square waves", "two tones"])
def test_a_condition_may_ask_what_the_generator_plays(tmp_path: Path, asked: str, form: str, plays: set[str]) -> None:
    """So the other steps go on where it has no two tones."""
    steps = f"  - when: {{bench: {{generator: {asked}}}}}\n    steps: [{{hold: {{for: 1 s}}}}]\n"
    assert bool(plan(tmp_path, steps, with_generator(form))) is (asked in plays)


def test_conditions_on_figures_add_up(tmp_path: Path) -> None:
    text = (
        "  - when: {idle_current: below 3 A}\n    steps:\n"
        "      - when: {dc_offset: within 50 mV}\n        steps: [{hold: {for: 1 s}}]\n"
    )
    (step,) = plan(tmp_path, text)
    assert [list(criteria) for criteria in step.only_if] == [["idle_current"], ["dc_offset"]]


def test_a_note_may_be_written_short(tmp_path: Path) -> None:
    (step,) = plan(tmp_path, "  - note: the lid is off\n")
    assert step.step.text == "the lid is off"  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ("  - when: {}\n    steps: [power_off]\n", "no condition"),
        ("  - when: {amplifier: {}}\n    steps: [power_off]\n", "nothing is asked of the amplifier"),
        ("  - when: {bench: {}}\n    steps: [power_off]\n", "nothing is asked of the bench"),
        ("  - when: {bench: {inputs: magic}}\n    steps: [power_off]\n", "'magic'"),
        ("  - when: {amplifier: {channels: 2}}\n    steps: [power_off]\n", "does not begin with above or below"),
        ("  - when: {idle_curent: below 3 A}\n    steps: [power_off]\n", "did you mean 'idle_current'"),
        ("  - repeat: {times: 1}\n    steps: [power_off]\n", "from 2 to 1000"),
        ("  - repeat: {times: 3, steps: [power_off]}\n", "stand beside it"),
        ("  - hold: {for: 1 s}\n    steps: [power_off]\n", "does not belong beside"),
    ],
)
def test_a_slip_in_a_step_that_holds_others_is_told(tmp_path: Path, steps: str, words: str) -> None:
    with pytest.raises(DocumentError) as caught:
        plan(tmp_path, steps)
    assert words in str(caught.value)
