"""What the site says of a run, made up."""

from __future__ import annotations

from benchctl.report.site.card import RunCard

CARD = RunCard(
    name="20260301-091500-quick-check",
    amplifier="HX <2150> & more",
    serial="17",
    sequence="Quick check",
    workshop="Eastharbour Audio Repairs",
    began="2026-03-01T09:15:00Z",
    updated="2026-03-05T10:00:00Z",
    verdict="Passes",
    look="passes",
    remark="",
    mark="",
    headline="159 W a channel into 4 ohm",
    found="159 W into 4 ohm",
    watts=159.0,
    rated=(),
    points=(),
)
