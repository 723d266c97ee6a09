"""A bench file that names a calibration file: measured values take the place of its own, and wrong ones are told."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

import pytest

from benchctl.documents.reader import load_amplifier, load_bench, load_kept_bench, read_any
from benchctl.documents.summary import summary
from benchctl.errors import DocumentError
from benchctl.launch.simulated.description import describe

RESISTOR = "{channel: A, nominal: 4 ohm, measured: 4.0871 ohm, uncertainty: 0.12 %, date: 2026-11-26}"
CALIBRATION = f"""\
benchctl: calibration 1
title: Bench 1, measured in November
due: 2027-11-26
resistors:
  - {RESISTOR}
probes:
  output A: {{ratio: 20.1, accuracy: 0.2 %, date: 2026-11-26, how: "against the reference, dc"}}
  supply voltage: {{ratio: 10.01, accuracy: 0.2 %, date: 2026-11-26}}
clamp: {{sensitivity: 10.05 mV/A, accuracy: 0.5 %, date: 2026-11-26}}
leads: {{resistance: 5.2 mohm, uncertainty: 10 %, date: 2026-11-26}}
"""
Placed = Callable[..., Path]


@pytest.fixture
def placed(tmp_path: Path, bench_text: str) -> Placed:
    """The workshop's bench file with this calibration file beside it; gives the path of the bench file."""

    def place(calibration: str = CALIBRATION, name: str = "own.yaml") -> Path:
        (tmp_path / "own.yaml").write_text(calibration, encoding="utf-8")
        bench = tmp_path / "bench.yaml"
        bench.write_text(
            bench_text.replace("\ninstruments:", f"\ncalibration: {name}\ninstruments:", 1), encoding="utf-8"
        )
        return bench

    return place


def problems(path: Path) -> list[str]:
    with pytest.raises(DocumentError) as caught:
        load_bench(path)
    return [str(problem).replace(f"{path.parent}/", "") for problem in caught.value.problems]


def test_measured_values_take_the_place_of_the_bench_files_own(placed: Placed) -> None:
    bench = load_bench(placed())
    first, second = bench.load_resistors[:2]
    assert (first.measured_ohm, first.uncertainty) == (4.0871, pytest.approx(0.0012))
    assert second.origin is None
    assert second.measured_ohm != 4.0871
    assert bench.signals.outputs["A"].probe.ratio == 20.1
    assert bench.signals.supply_voltage is not None
    assert bench.signals.supply_voltage.probe.ratio == 10.01
    assert bench.signals.supply_current is not None
    assert bench.signals.supply_current.probe.sensitivity_v_per_a == pytest.approx(0.01005)
    assert bench.instruments.supply is not None
    assert bench.instruments.supply.main.leads_ohm == pytest.approx(5.2e-3 * 1.1)  # the most that it allows


def test_a_coefficient_that_was_not_measured_stays(placed: Placed) -> None:
    assert load_bench(placed()).load_resistors[0].temperature_coefficient_per_k == pytest.approx(60e-6)


def test_a_measured_coefficient_comes_with_its_uncertainty_and_the_bench_files_own_with_what_it_states(
    placed: Placed,
) -> None:
    warm = RESISTOR.replace(
        "date:", "temperature_coefficient: 55 ppm/K, temperature_coefficient_uncertainty: 4 ppm/K, date:"
    )
    first, second = load_bench(placed(CALIBRATION.replace(RESISTOR, warm))).load_resistors[:2]
    assert first.temperature_coefficient_uncertainty_per_k == pytest.approx(4e-6)
    assert first.as_stated.temperature_coefficient_uncertainty_per_k is None
    assert second.temperature_coefficient_uncertainty_per_k is None


def test_a_calibration_file_may_be_missing_only_for_who_writes_it(placed: Placed) -> None:
    path = placed(name="other.yaml")
    (told,) = problems(path)
    assert "`benchctl calibrate --out` writes it" in told
    bench = load_bench(path, needs_calibration=False)
    assert bench.load_resistors[0].origin is None


def test_a_value_says_where_it_comes_from(placed: Placed) -> None:
    bench = load_bench(placed())
    origins = dict(bench.origins())
    assert set(origins) == {
        "the 4 ohm resistor of output A",
        "the probe of output A",
        "the probe of supply voltage",
        "the clamp",
        "the supply's leads",
    }
    assert str(origins["the probe of output A"]) == "own.yaml, 2026-11-26, against the reference, dc"
    assert all(origin.is_overdue(datetime.date(2027, 11, 26)) for origin in origins.values())
    assert not any(origin.is_overdue(datetime.date(2027, 11, 25)) for origin in origins.values())


def test_what_a_run_keeps_needs_no_second_file(placed: Placed, tmp_path: Path) -> None:
    bench = load_bench(placed())
    kept = tmp_path / "kept" / "bench.yaml"
    kept.parent.mkdir()
    kept.write_text(bench.whole_text, encoding="utf-8")
    again = load_kept_bench(kept)
    assert again.model_dump() == bench.model_dump()


def test_measuring_does_not_change_what_is_true_of_a_simulated_bench(placed: Placed) -> None:
    """The simulator draws its truth from what the bench file itself says."""
    amplifier = load_amplifier("hx2150")
    calibrated = describe(load_bench(placed()), amplifier)
    plain = describe(load_bench("workshop"), amplifier)
    assert (calibrated.load, calibrated.oscilloscope) == (plain.load, plain.oscilloscope)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "nominal: 4 ohm, measured: 4.",
            "nominal: 8 ohm, measured: 8.",
            "own.yaml:5:5: the bench file lacks the 8 ohm",
        ),
        ("output A", "output D", "own.yaml:7:3: the bench file has no probe of output D"),
        ("uncertainty: 0.12 %", "uncertainty: 0.12", "own.yaml:5:69: '0.12' has no unit"),
        ("measured: 4.0871", "measured: 40.871", "own.yaml:5:44: 40.87 ohm is not a 4 ohm resistor"),
        ("2026-11-26, how:", "2026-11-26, hwo:", "own.yaml:7:62: unknown key 'hwo'; did you mean 'how'?"),
        ("benchctl: calibration 1", "benchctl: amplifier 1", "own.yaml:1:11: this is an amplifier file; a calibration"),
        ("accuracy: 0.5 %, date", "accuracy: 0 %, date", "own.yaml:9:44: '0 %' is out of range"),
        (f"  - {RESISTOR}\n", f"  - {RESISTOR}\n" * 2, "own.yaml:6:27: the 4 ohm resistor of output A is in the list"),
    ],
)
def test_a_wrong_value_is_told_with_its_place(placed: Placed, old: str, new: str, told: str) -> None:
    assert old in CALIBRATION
    assert problems(placed(CALIBRATION.replace(old, new)))[0].startswith(told)


def test_a_calibration_file_that_is_not_there_is_told_where_it_is_named(placed: Placed) -> None:
    (told,) = problems(placed(name="other.yaml"))
    assert told.startswith("bench.yaml:6:14: there is no file 'other.yaml' beside this one;")


def test_switching_off_needs_no_calibration_file(placed: Placed) -> None:
    bench = load_bench(placed(name="other.yaml"), joins_calibration=False)
    assert bench.load_resistors[0].measured_ohm == load_bench("workshop").load_resistors[0].measured_ohm


def test_a_calibration_without_values_is_an_error(placed: Placed) -> None:
    (told,) = problems(placed("benchctl: calibration 1\ntitle: Nothing\n"))
    assert "a calibration without values" in told


def test_a_check_of_either_file_tells_what_was_measured(placed: Placed, tmp_path: Path) -> None:
    assert "the clamp: own.yaml, 2026-11-26" in summary(read_any(placed())).by_name()["calibrated"]
    told = summary(read_any(tmp_path / "own.yaml"))
    assert told.kind == "calibration"
    assert told.by_name()["leads"] == ["5.2 mohm ± 10 %, 2026-11-26"]


def test_resistors_that_a_hand_connects_are_calibrated_too(tmp_path: Path) -> None:
    by_hand = load_bench("no_thermometer")
    assert by_hand.loads is not None
    first = by_hand.load_resistors[0]
    value = f"nominal: {first.nominal_ohm:g} ohm, measured: {first.nominal_ohm * 1.01:.6g} ohm, uncertainty: 0.3 %"
    (tmp_path / "own.yaml").write_text(
        "benchctl: calibration 1\ntitle: Drawer\nresistors:\n"
        f"  - {{channel: {first.channel}, {value}, date: 2026-11-26}}\n"
    )
    (tmp_path / "bench.yaml").write_text(
        by_hand.source.text.replace("\ninstruments:", "\ncalibration: own.yaml\ninstruments:", 1)
    )
    calibrated = load_bench(tmp_path / "bench.yaml").load_resistors[0]
    assert calibrated.measured_ohm == pytest.approx(1.01 * first.nominal_ohm)
