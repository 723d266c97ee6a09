"""A step that plays at the clean level is refused unless one will be known for its own load and frequency."""

from __future__ import annotations

import pytest

from tests.runner.checks.test_preflight import hazards
from tests.runner.rig import POWER_ON_LINE

AT_4_OHM = (POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz}")
FIND = "find_clean_level: {thd_n: 1 %}"
CONTINUOUS, SOAK = "measure_continuous: {for: 1 s}", "soak: {for: 1 min}"


@pytest.mark.parametrize("plays", [CONTINUOUS, SOAK])
@pytest.mark.parametrize(
    ("elsewhere", "place"),
    [("set: {load: 2 ohm}", "2 ohm and 1 kHz"), ("set: {frequency: 100 Hz}", "4 ohm and 100 Hz")],
)
def test_a_level_found_for_another_load_or_frequency_is_none_for_this_one(
    plays: str, elsewhere: str, place: str
) -> None:
    (found,) = hazards(*AT_4_OHM, FIND, elsewhere, plays)
    assert f"no find_clean_level comes before it at {place}; put one before it, or give " in found


@pytest.mark.parametrize("plays", [CONTINUOUS, SOAK])
def test_a_level_found_for_this_load_and_frequency_serves_however_often_they_were_changed(plays: str) -> None:
    back = ("set: {load: 2 ohm, frequency: 100 Hz}", "set: {load: 4 ohm, frequency: 1 kHz}")
    assert hazards(*AT_4_OHM, FIND, *back, plays) == ()


def test_where_no_load_is_set_that_is_the_hazard_to_tell() -> None:
    found = hazards(POWER_ON_LINE, "set: {frequency: 1 kHz}", CONTINUOUS)
    assert found == ("3 measure_continuous: no load is connected: 'set' or 'sweep' a load first",)
