"""Large characters."""

from __future__ import annotations

from benchctl.cli.shown.live.large import has_large, in_large
from benchctl.watch.now import HEADLINES


def test_large_figures_have_five_rows_with_the_unit_small_at_the_foot() -> None:
    rows = in_large("8.6 A")
    assert len(rows) == 5
    assert rows[-1].endswith("A")
    assert not any("A" in row for row in rows[:-1])


def test_every_headline_can_be_written_in_large_characters() -> None:
    assert all(map(has_large, HEADLINES.values()))


def test_a_terminal_of_plain_characters_has_plain_figures() -> None:
    assert in_large("8.6 V", plain=True) == ["8.6 V"]
