"""Series and phases from values: what begins anew, what is left out, and what counts as an alarm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from benchctl.archive.drift.series import Series, series_of
from benchctl.archive.drift.value import Dated, Reference, ReferenceValue

CLAMP = Reference("gain", "clamp over the supply's reading", "", "oscilloscope, serial 17", "supply current")
START = datetime(2026, 1, 5, 9, tzinfo=UTC)


def dated(values: Sequence[float], allowed: float = 0.013, phase: str = "calibrated 2026-01-02") -> list[Dated]:
    """A value a fortnight."""
    return [
        Dated(START + timedelta(days=14 * number), f"run-{number}", ReferenceValue(CLAMP, value, allowed, phase))
        for number, value in enumerate(values)
    ]


def one_of(points: Sequence[Dated]) -> Series:
    (series,) = series_of(points)
    return series


def sound(seed: int, count: int = 24, scatter: float = 0.001) -> list[float]:
    return np.random.default_rng(seed).normal(1.002, scatter, count).tolist()


def test_a_clamp_that_ages_by_a_tenth_of_a_per_cent_a_month_is_an_alarm() -> None:
    aged = [value + 0.0005 * number for number, value in enumerate(sound(1))]
    assert one_of(dated(aged)).present.is_alarm


def test_sound_benches_raise_no_alarm() -> None:
    """24 runs each, whose values scatter by up to a quarter of what is stated: 500 of 500, where 95 % are promised."""
    scatters = np.random.default_rng(5).uniform(0.0001, 0.25 * 0.013, 500)
    lives = [one_of(dated(sound(seed, scatter=float(scatter)))) for seed, scatter in enumerate(scatters)]
    assert sum(life.present.is_alarm for life in lives) <= 0.01 * len(lives)


def test_a_change_of_less_than_a_quarter_of_what_is_stated_is_told_and_no_alarm() -> None:
    phase = one_of(dated([value + 0.0001 * n for n, value in enumerate(sound(2, scatter=0.0002))])).present
    assert phase.judged.state == "changed"
    assert not phase.is_alarm


def test_a_new_calibration_begins_a_new_phase_and_a_new_serial_number_a_new_series() -> None:
    points = dated(sound(3))
    again = [
        replace(p, given=replace(p.given, phase="calibrated 2026-07-01")) if n > 11 else p for n, p in enumerate(points)
    ]
    assert [len(phase.points) for phase in one_of(again).phases] == [12, 12]
    other = replace(CLAMP, of="oscilloscope, serial 18")
    exchanged = [replace(p, given=replace(p.given, reference=other)) if n > 11 else p for n, p in enumerate(points)]
    assert [len(series.present.points) for series in series_of(exchanged)] == [12, 12]


def test_what_is_too_uncertain_to_tell_is_left_out_and_counted() -> None:
    points = dated(sound(4))
    coarse = replace(points[3], given=replace(points[3].given, value=1.08, allowed=0.04))
    phase = one_of([*points[:3], coarse, *points[4:]]).present
    assert (len(phase.points), phase.coarse) == (23, 1)
    assert max(phase.values) < 1.01


def test_the_order_of_folders_does_not_matter() -> None:
    points = dated(sound(6))
    assert one_of(points[::-1]).present.values == pytest.approx([point.given.value for point in points])
