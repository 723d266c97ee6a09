"""A run is held against the amplifier file's `fitted:` part while it goes on: a sound amplifier is told nothing of, and
what has changed since is told at the first step that shows it, once."""

from __future__ import annotations

from pathlib import Path

import pytest
from rich.console import Console

from benchctl.cli.shown.views import PlainView
from benchctl.launch.run import Documents, run
from benchctl.library import find
from tests.journals import read_events

# As the simulated amplifier is: its file's numbers. The unit's run was of another day.
FITTED = """\
fitted:
  run: 20261124-221003-burst-and-continuous-power-at-1-khz-hx-2150
  date: 2026-11-24
  bench: Bench 2 of the ferry-amplifier workshop
  loads: [2 ohm, 4 ohm]
  supply_voltages: [14.4 V]
  tones: [1 kHz]
  rails_move: from cycle to cycle
  supply_path: {value: 1.5 mohm, uncertainty: 0.1 mohm}
  rail_stiffness: {value: 360 mohm, uncertainty: 4 mohm}
  reservoir: {value: 30 mF, uncertainty: 0.3 mF}
  headroom: {value: 39.4 V, uncertainty: 0.3 V}
  input_ratio: {value: 3.095, uncertainty: 0.02}
  output_resistance: {value: 20 mohm, uncertainty: 1 mohm}
  idle_current: {value: 1.68 A, uncertainty: 0.03 A}
  gain:
    A: {value: 31.9, uncertainty: 0.26}
    B: {value: 31.9, uncertainty: 0.26}
"""
HEAD = "benchctl: sequence 1\ntitle: Held against a fit\npurpose: Idle, a burst and a tone.\nsteps:\n"
STEPS = """\
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - measure_idle: {for: 1 s}
  - hold: {for: 20 s}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - measure_burst: {cycles: [8], every: 100 ms, low_level: -20 dB, thd_n: 1 %, from: 700 mV}
  - find_clean_level: {thd_n: 1 %, from: 700 mV, to: 1 V}
  - measure_continuous: {for: 1 s}
  - power_off
"""
Event = dict[str, object]


def held(
    folder: Path, steps: str = STEPS, bench: str = "", **changes: tuple[str, str]
) -> tuple[list[Event], list[str]]:
    """What of a dry run on the workshop's bench was held against the fit, and the notes of that run."""
    bench_text = find("benches", "workshop").read_text("utf-8").replace("  seed: 2150\n", f"  seed: 2150\n{bench}")
    (folder / "bench.yaml").write_text(bench_text, encoding="utf-8")
    text = find("amplifiers", "hx2150").read_text("utf-8")
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    (folder / "unit.yaml").write_text(f"{text}\n{FITTED}", encoding="utf-8")
    (folder / "sequence.yaml").write_text(HEAD + steps, encoding="utf-8")
    documents = Documents(folder / "sequence.yaml", folder / "bench.yaml", folder / "unit.yaml")
    done = run(documents, PlainView(Console(quiet=True)), out=folder, dry_run=True)
    assert done.outcome.error is None
    events = read_events(done.folder / "journal.jsonl")
    notes = [str(event["text"]) for event in events if event["event"] == "note"]
    return [event for event in events if event["event"] == "held against the fit"], notes


def told(events: list[Event]) -> list[tuple[str, str]]:
    return [(str(event["step"]), text) for event in events for text in event["told"]]  # type: ignore[attr-defined]


def test_of_a_sound_amplifier_nothing_is_told_and_every_figure_of_the_fit_is_held_against_it(tmp_path: Path) -> None:
    events, notes = held(tmp_path)
    assert told(events) == []
    assert not any("not as fitted" in note for note in notes)
    names = {row["name"] for event in events for row in event["rows"]}  # type: ignore[attr-defined]
    assert names == {
        "idle_current", "gain", "droop", "burst_power_clean", "continuous_power", "supply_current",
        "supply_voltage", "efficiency",
    }  # fmt: skip
    for event in events:
        assert event["not_predicted"] == []
        for row in event["rows"]:  # type: ignore[attr-defined]
            assert row["predicted"] == pytest.approx(row["measured"], rel=0.05)


def test_an_aged_reservoir_and_a_bias_too_high_are_told_at_the_step_that_shows_them_each_once(tmp_path: Path) -> None:
    """12 mF where 30 mF were fitted, and four times the bias. The supply's current and the efficiency under a tone
    follow from the idle current, so they are in the table only."""
    events, notes = held(
        tmp_path, reservoir=("reservoir: 30 mF", "reservoir: 12 mF"), bias=("bias_current: 110", "bias_current: 440")
    )
    (idle, first), (burst, second) = told(events)
    assert idle == "2 measure_idle"
    assert "idle current: 5.7" in first
    assert "1.68 ± 0.50 A predicted" in first
    assert burst == "5 measure_burst"
    assert "droop, 8 cycles" in second
    assert "% more" not in second
    assert "percentage points more, and both uncertainties together explain" in second
    assert [note for note in notes if "not as fitted" in note] == [first, second]


def test_a_gain_that_has_fallen_is_told_before_any_power(tmp_path: Path) -> None:
    """1.5 dB down in one channel: seen at 30 dB below rated power, before the first search."""
    left_out = ("burst", "continuous")
    lines = STEPS.splitlines(keepends=True)
    steps = "".join(line for line in lines if not any(word in line for word in left_out))
    fault = "simulation:\n  faults: {gain_mismatch: {B: -1.5 dB}}\n"
    events, _ = held(tmp_path, steps, fault=("simulation:\n", fault))
    ((step, text),) = told(events)
    assert step == "5 find_clean_level"
    assert "gain, B:" in text
    assert "dB less" in text


def test_a_current_that_changes_while_the_run_waits_is_told_while_it_waits(tmp_path: Path) -> None:
    """From 30 s on the supply reads three times its current, as if the idle current had risen. Ten seconds without a
    change and five for a second reading have passed by then or pass soon after."""
    fault = "  faults: [{kind: wrong by a factor, instrument: supply, of: current, factor: 3, at: 30 s}]\n"
    steps = "  - power_on: {voltage: 14.4 V, current_limit: 90 A}\n  - hold: {for: 2 min}\n  - power_off\n"
    events, _ = held(tmp_path, steps, fault)
    ((step, text),) = told(events)
    assert step == "2 hold"
    assert "idle current: 5." in text
    (event,) = events
    assert 30.0 < event["time_s"] < 50.0  # type: ignore[operator]
