"""What a fit tells is written into the amplifier file, and dry runs and preflight read it there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.errors import DocumentError, UsageError
from benchctl.fit.examination import Examination
from benchctl.fit.twin.writing import write_twin
from benchctl.launch.simulated.description import describe
from benchctl.library import find
from benchctl.runner.checks.notes import of_fitted
from benchctl.runner.expected.capability import idle_a


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The unit's file as a person has it: without any simulation."""
    text = find("amplifiers", "hx2150").read_text(encoding="utf-8")
    path = tmp_path / "unit.yaml"
    path.write_text(text[: text.index("simulation:")], encoding="utf-8")
    return path


def test_what_stands_in_the_file_stays_and_what_is_told_follows(found: Examination, file: Path) -> None:
    before = file.read_text(encoding="utf-8")
    added = write_twin(found, file)
    after = file.read_text(encoding="utf-8")
    assert after.startswith(before.rstrip("\n"))
    assert after.endswith("\n".join(added) + "\n")
    fitted = load_amplifier(file).fitted
    assert fitted is not None
    assert fitted.run == found.run.name
    assert fitted.simulated
    told = {(each.name, each.channel): each for each in found.quantities if each.is_told}
    assert fitted.reservoir is not None
    assert fitted.reservoir.value_f == pytest.approx(told["reservoir", ""].value, rel=1e-5)
    assert fitted.reservoir.uncertainty_f == pytest.approx(told["reservoir", ""].expanded_uncertainty, rel=5e-3)
    assert fitted.gain["A"].value == pytest.approx(told["gain", "A"].value, rel=1e-5)
    assert fitted.saturation is None  # one supply voltage did not tell it


def test_a_dry_run_of_the_written_file_is_of_this_unit(found: Examination, file: Path) -> None:
    """The numbers that the shipped file states for the simulated unit that was fitted."""
    write_twin(found, file)
    physics = describe(load_bench("workshop"), load_amplifier(file)).amplifier
    assert physics.reservoir_f == pytest.approx(30e-3, rel=0.02)
    assert physics.rail_stiffness_ohm == pytest.approx(0.36, rel=0.02)
    assert physics.gain == pytest.approx(31.9, rel=0.01)
    assert physics.rail_v - physics.saturation_v == pytest.approx(41.0 - 1.6, rel=0.01)
    ratio = physics.rail_v / 14.4 / physics.converter_efficiency
    assert ratio == pytest.approx(41.0 / 14.4 / 0.92, rel=0.02)


def test_values_of_a_simulation_of_its_own_come_first(found: Examination, file: Path) -> None:
    file.write_text(file.read_text(encoding="utf-8") + "simulation: {reservoir: 12 mF}\n", encoding="utf-8")
    write_twin(found, file)
    physics = describe(load_bench("workshop"), load_amplifier(file)).amplifier
    assert physics.reservoir_f == pytest.approx(12e-3)
    assert physics.rail_stiffness_ohm == pytest.approx(0.36, rel=0.02)


def test_nothing_is_written_over_an_earlier_fit_or_into_the_file_of_another_unit(
    found: Examination, file: Path
) -> None:
    write_twin(found, file)
    there = file.read_bytes()
    with pytest.raises(UsageError, match="has a 'fitted:' already"):
        write_twin(found, file)
    other = file.with_name("other.yaml")
    other.write_text(file.read_text(encoding="utf-8").replace("title: HX 2150", "title: HX 2151"), encoding="utf-8")
    with pytest.raises(UsageError, match="HX 2151, and the run was of HX 2150"):
        write_twin(found, other)
    assert file.read_bytes() == there


def test_a_fit_that_tells_nothing_is_not_written(found: Examination, file: Path) -> None:
    with pytest.raises(UsageError, match="tells nothing"):
        write_twin(replace(found, quantities=()), file)


def test_preflight_reckons_with_the_higher_idle_current_and_says_so(found: Examination, file: Path) -> None:
    write_twin(found, file)
    amplifier = load_amplifier(file)
    (note,) = of_fitted(amplifier)
    assert found.run.name in note
    assert "simulated run" in note
    assert amplifier.fitted_idle_current_a is not None
    assert idle_a(amplifier, 14.4) == max(1.6, amplifier.fitted_idle_current_a)


@pytest.mark.parametrize(
    ("fitted", "problem"),
    [
        ("{run: a, date: 2026-11-27, reservoir: {value: 30 mF, uncertainty: 1 ohm}}", "ohm"),
        ("{run: a, date: 2026-11-27, reservoir: {value: -30 mF, uncertainty: 1 mF}}", "more than 0"),
        ("{run: a, date: 2026-11-27, reservoir: {value: 30 mF, uncertainty: 40 mF}}", "more than the value"),
        ("{run: a, date: 2026-11-27, resrevoir: {value: 30 mF, uncertainty: 1 mF}}", "resrevoir"),
    ],
)
def test_a_wrong_fitted_part_is_told_with_its_line(file: Path, fitted: str, problem: str) -> None:
    text = file.read_text(encoding="utf-8")
    line = text.count("\n") + 1
    file.write_text(f"{text}fitted: {fitted}\n", encoding="utf-8")
    with pytest.raises(DocumentError) as refused:
        load_amplifier(file)
    assert problem in str(refused.value)
    assert f":{line}:" in str(refused.value)
