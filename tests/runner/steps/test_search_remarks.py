"""What is told of a search besides its result."""

from __future__ import annotations

import pytest

from benchctl.runner.steps.search_remarks import Plate, remarks_of
from tests.measure.search.test_other_distortion import Amplifier, searched

# 1 V into 4 ohm.
PLATE = Plate(power_w=0.25, load_ohm=4.0)


def test_a_result_more_than_6_db_under_the_plate_is_told_with_both_powers() -> None:
    """0.2 V clips at 0.2058 V for 1 %: 13.8 dB under 1 V, and 0.57 % of the fundamental is lost (closed form)."""
    search, _ = searched(Amplifier(clips_v=0.2), plate_v=1.0)
    (remark,) = remarks_of(search, PLATE)
    assert remark.startswith(
        "the result, 10 mW of output A, lies 13.8 dB under the plate, which says 250 mW into 4 ohm"
    )
    assert remark.endswith("the gain gives way above it, as in clipping")


def test_a_result_near_the_plate_needs_no_remark() -> None:
    search, _ = searched(Amplifier(clips_v=0.6), plate_v=1.0)
    assert list(remarks_of(search, PLATE)) == []


@pytest.mark.parametrize(("residue", "is_told"), [(0.002, False), (0.007, True)])
def test_distortion_that_takes_much_of_the_bound_at_every_level_is_told_beside_the_result(
    residue: float, is_told: bool
) -> None:
    search, _ = searched(Amplifier(residue=residue), plate_v=1.0)
    told = [remark for remark in remarks_of(search, PLATE) if "counts in the bound of 1 %" in remark]
    assert bool(told) == is_told
    assert all("distortion is about the same, 0.7 % to 0.7" in remark for remark in told)


def test_without_a_plate_nothing_is_held_against_it() -> None:
    search, _ = searched(Amplifier(clips_v=0.2), plate_v=1.0)
    assert list(remarks_of(search, None)) == []


def test_distortion_that_rises_while_the_gain_stays_is_said_not_to_be_shown_as_clipping() -> None:
    """A hump so broad that its top lies beyond the reach of the search's steps."""
    search, _ = searched(Amplifier(clips_v=90.0, hump=(0.5, 5.0, 14.0)), plate_v=40.0, highest_v=4.5)
    told = list(remarks_of(search, Plate(power_w=400.0, load_ohm=4.0)))
    assert told
    assert told[-1].endswith("nothing shows that the amplifier clips there: its gain does not give way")


# Levels that double from 12.5 mV, by 6 dB: 49.76 mV and 198.1 mV are twice and four times doubled.
@pytest.mark.parametrize(("hump", "told"), [((0.03, 0.2, 1.0), "at 198.1 mV"), ((0.06, 0.1, 8.0), "from 49.76 mV to ")])
def test_other_distortion_is_told_with_the_levels_at_which_it_was_measured(
    hump: tuple[float, float, float], told: str
) -> None:
    search, _ = searched(Amplifier(hump=hump), plate_v=0.97)
    (remark,) = remarks_of(search, PLATE)
    assert remark.startswith(f"distortion exceeds 1 % {told}")
