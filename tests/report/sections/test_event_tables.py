"""What the tables of events say of each event."""

from __future__ import annotations

from benchctl.report.sections.event_tables import _in_words


def test_a_list_is_told_entry_by_entry() -> None:
    event = {"number": 1, "time_s": 0.0, "wall": "", "event": "blind_spots", "signals": ["heatsink", "output B"]}
    assert _in_words(event) == "signals: heatsink; output B"
