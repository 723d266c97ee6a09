"""A value may be written in another unit, by the name of that unit."""

from __future__ import annotations

import pytest

from benchctl.documents.driver_file.language.templates import Template, TemplateError
from benchctl.documents.driver_file.language.values import REAL, WHOLE, WHOLES, WORD, Kind

OFFERED: dict[str, Kind] = {
    "level_v": REAL,
    "frequency_hz": REAL,
    "every_s": REAL,
    "voltage_v": REAL,
    "output": WHOLE,
    "relays": WHOLES,
    "range": WORD,
}
GIVEN = {
    "level_v": 1.0,
    "frequency_hz": 1000.0,
    "every_s": 0.5,
    "voltage_v": 14.4,
    "output": 2,
    "relays": (3, 4),
    "range": "LOW",
}


@pytest.mark.parametrize(
    ("text", "sent"),
    [
        ("{level_v:.6f}", "1.000000"),
        ("{level_peak_v:.6f}", "1.414214"),  # of a sine: sqrt(2) times the rms value
        ("{level_vpp:.6f}", "2.828427"),
        ("{level_mvpp:.1f}", "2828.4"),
        ("{level_mv:.0f}", "1000"),
        ("{level_dbv:.2f}", "0.00"),
        ("{frequency_khz:.3f}", "1.000"),
        ("{period_s:.6f}", "0.001000"),
        ("{period_us:.0f}", "1000"),
        ("{every_ms:.0f}", "500"),
        ("{voltage_mv:.0f}", "14400"),
        ("{voltage_dv:04.0f}", "0144"),
        ("{output:02d}", "02"),
        ("{output:x}", "2"),
        ("CH{output_letter}", "CHB"),
        ("(@{relays})", "(@3,4)"),
        ("MODE CR{range}", "MODE CRLOW"),
    ],
)
def test_a_value_is_sent_in_the_unit_that_its_name_says(text: str, sent: str) -> None:
    assert Template.parse(text, OFFERED).render(**GIVEN) == sent


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("{level_dbv:.2f}", {"level_v": 0.0}),
        ("{period_s:.3f}", {"frequency_hz": 0.0}),
        ("{output_letter}", {"output": 27}),
        ("{range}", {"range": "LOW;OUTP ON"}),
        ("{range}", {"range": ""}),
        ("{range}", {"range": "LOW\nOUTP ON"}),
    ],
)
def test_a_value_that_cannot_be_written_so_is_never_sent(text: str, value: dict[str, float | int | str]) -> None:
    with pytest.raises(TemplateError):
        Template.parse(text, OFFERED).render(**{**GIVEN, **value})


def test_a_name_that_is_nearly_right_is_offered() -> None:
    with pytest.raises(TemplateError, match="did you mean 'level_vpp'"):
        Template.parse("{level_vp:.3f}", OFFERED)
