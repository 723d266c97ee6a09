"""Road-vehicle fuses: how long they carry an overload, at the points that standard and data sheets give.

ISO 8820-3 has the method and the blades; the points are those of makers' sheets that name it, or SAE J1284 (blades) and
J1888 (large blades), at 23 degC. Points that are known from memory alone are in no test.
"""

from __future__ import annotations

import math

import pytest

from benchctl.documents.amplifier_file.amplifier import FuseType
from benchctl.runner.expected.fuse_curve import may_open_s, will_open_s

HOUR_S = 3600.0


@pytest.mark.parametrize(
    ("fuse_type", "ratio", "shortest_s", "longest_s"),
    [
        ("blade", 1.35, 0.75, 600.0),
        ("blade", 1.6, 0.25, 50.0),
        ("blade", 2.0, 0.15, 5.0),
        ("large blade", 1.35, 60.0, 1800.0),
        ("large blade", 2.0, 2.0, 50.0),
        ("large blade", 3.5, 0.2, 7.0),
        ("large blade", 6.0, 0.04, 1.0),
        ("bolt-down", 1.35, 120.0, 1800.0),
    ],
)
def test_at_each_point_a_fuse_opens_between_the_times_of_its_sheet(
    fuse_type: FuseType, ratio: float, shortest_s: float, longest_s: float
) -> None:
    assert may_open_s(ratio, fuse_type) == pytest.approx(shortest_s)
    assert will_open_s(ratio, fuse_type) == pytest.approx(longest_s)


@pytest.mark.parametrize("fuse_type", ["blade", None])
def test_up_to_110_percent_a_blade_holds_for_100_hours(fuse_type: FuseType | None) -> None:
    assert may_open_s(1.1, fuse_type) >= 0.999 * 100.0 * HOUR_S
    assert will_open_s(1.1, fuse_type) == math.inf


def test_below_135_percent_no_fuse_must_open() -> None:
    """The least overload for which a longest time is given."""
    assert will_open_s(1.34, None) == math.inf


def test_at_113_percent_a_fuse_holds_for_hours() -> None:
    assert may_open_s(1.13, None) > 5.0 * HOUR_S


@pytest.mark.parametrize("ratio", [1.35, 1.5, 2.0, 3.0, 6.0])
def test_a_fuse_of_unknown_type_opens_as_soon_as_the_fastest_and_as_late_as_the_slowest(ratio: float) -> None:
    types: list[FuseType] = ["blade", "large blade", "bolt-down"]
    assert may_open_s(ratio, None) == min(may_open_s(ratio, each) for each in types)
    assert will_open_s(ratio, None) == max(will_open_s(ratio, each) for each in types)


def test_between_two_points_the_times_are_interpolated_over_the_logarithms() -> None:
    """Halfway between 135 and 200 % on a logarithmic scale is sqrt(1.35 x 2.0), and between 60 and 2 s sqrt(60 x 2)."""
    assert may_open_s(math.sqrt(1.35 * 2.0), "large blade") == pytest.approx(math.sqrt(60.0 * 2.0))


@pytest.mark.parametrize(("ratio", "part"), [(12.0, 4.0), (60.0, 100.0)])
def test_beyond_the_last_point_the_square_of_the_current_by_the_time_is_constant(ratio: float, part: float) -> None:
    """So quickly no heat flows off (adiabatic melting)."""
    assert will_open_s(ratio, "large blade") == pytest.approx(1.0 / part)
