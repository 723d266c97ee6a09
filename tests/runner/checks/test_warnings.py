"""Warnings: what a person may wave through with a reason, and what nothing waves through."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.archive.journal.journal import read_journal
from benchctl.documents.model.limits import Limits
from benchctl.documents.reader import load_bench
from benchctl.errors import PreflightRefused
from benchctl.launch.run import Documents, run
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from tests.launch.test_resume import Silent

HEAD = "benchctl: sequence 1\ntitle: Cautions\nsteps:\n  - power_on: {voltage: 14.4 V, current_limit: 90 A}\n"


def documents(folder: Path, steps: str = "") -> Documents:
    path = folder / "sequence.yaml"
    path.write_text(HEAD + steps)
    return Documents(path, "workshop", "hx2150")


def looked_at(files: Files, *, unattended: bool = False) -> Preflight:
    return preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=unattended)


def test_a_sequence_that_leaves_the_amplifier_on_is_warned_of(tmp_path: Path) -> None:
    (warning,) = looked_at(documents(tmp_path).load()).warnings
    assert "'power_off'" in warning


def test_a_sequence_that_switches_off_has_no_warning(tmp_path: Path) -> None:
    assert looked_at(documents(tmp_path, "  - power_off\n").load()).warnings == ()


def test_an_unattended_run_without_a_current_limit_is_warned_of(tmp_path: Path) -> None:
    files = documents(tmp_path, "  - power_off\n").load()
    limits = files.bench.limits.model_copy(update={"supply_current": None})
    bare = Files(files.sequence, load_bench("workshop").model_copy(update={"limits": limits}), files.amplifier)
    assert looked_at(bare).warnings == ()
    (warning,) = looked_at(bare, unattended=True).warnings
    assert "supply_current" in warning


def test_a_run_in_which_no_limit_can_trip_is_warned_of(tmp_path: Path) -> None:
    files = documents(tmp_path, "  - power_off\n").load()
    bare = Files(files.sequence, files.bench.model_copy(update={"limits": Limits()}), files.amplifier)
    (warning,) = looked_at(bare).warnings
    assert "neither sequence nor bench has a limit that can trip" in warning
    assert "supply_current: {above: 80 A}" in warning  # the fuse of the HX 2150


def test_a_reason_of_blanks_accepts_no_warning(tmp_path: Path) -> None:
    with pytest.raises(PreflightRefused):
        looked_at(documents(tmp_path).load()).refuse_hazards(accepted="  ")


def test_a_short_overload_of_a_resistor_is_a_warning_with_its_figures(tmp_path: Path) -> None:
    steps = "  - set: {load: 4 ohm, frequency: 1 kHz}\n  - measure_continuous: {for: 1 s, level: 1 V}\n  - power_off\n"
    files = documents(tmp_path, steps).load()
    load = files.bench.instruments.load
    assert load is not None
    assert load.kind == "relay bank"
    weak = tuple(resistor.model_copy(update={"rated_power_w": 150.0}) for resistor in load.resistors)
    instruments = files.bench.instruments.model_copy(update={"load": load.model_copy(update={"resistors": weak})})
    bench = files.bench.model_copy(update={"instruments": instruments})
    checked = looked_at(Files(files.sequence, bench, files.amplifier))
    assert checked.hazards == ()
    # A level of 1 V asks for 250 W, of which clipping leaves less; 12.5 s of the rating on top of it are allowed.
    (warning,) = checked.warnings
    assert "into a load of 4 ohm rated 150 W; a wirewound resistor can take that for " in warning
    assert "where yours is another kind" in warning


def test_a_warning_stops_a_run_until_a_reason_is_given(tmp_path: Path) -> None:
    with pytest.raises(PreflightRefused, match="--accept"):
        run(documents(tmp_path), Silent(), out=tmp_path, dry_run=True)


def test_an_accepted_warning_is_kept_with_its_reason(tmp_path: Path) -> None:
    result = run(documents(tmp_path), Silent(), out=tmp_path, dry_run=True, accepted="the relay is stuck on purpose")
    (kept,) = read_journal(result.folder / "journal.jsonl").of_kind("warnings accepted")
    assert kept["reason"] == "the relay is stuck on purpose"
    assert "power_off" in kept["warnings"][0]


def test_nothing_waves_a_hazard_through(tmp_path: Path) -> None:
    steps = "  - set: {load: 1 ohm}\n  - power_off\n"
    with pytest.raises(PreflightRefused, match="minimum load"):
        run(documents(tmp_path, steps), Silent(), out=tmp_path, dry_run=True, accepted="it will be fine")
