"""The workshop's bench with other supplies: each speaks a form of its own, and is driven by the driver file for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

OUTPUTS = "main: {number: 1, voltage: 20 V, current: 120 A}\n      remote: {number: 2, voltage: 20 V, current: 1 A}"
ONLY_MAIN = "main: {number: 1, voltage: 20 V, current: 120 A}"
LEAD = "remote_turn_on: {by: supply, output: remote, voltage: 12 V}"
LEAD_BY_RELAY = "remote_turn_on: {by: relay, relay: 113}"
SEED = "  seed: 2150"


@dataclass(frozen=True)
class Form:
    """A form that the simulated supply speaks, the shipped driver for it, and whether it has one output only."""

    speaks: str
    driver: str
    single: bool = False

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What makes the workshop's bench one with this supply; `vices` are further words of its simulation."""
        simulated = f"speaks: {self.speaks}{', ' * bool(vices)}{vices}"
        found = {
            "driver: supply/scpi99_watchdog": f"driver: {self.driver}",
            SEED: f"{SEED}\n  instruments: {{supply: {{{simulated}}}}}",
        }
        return {**found, OUTPUTS: ONLY_MAIN, LEAD: LEAD_BY_RELAY} if self.single else found


FORMS = (
    Form("channel_list", "supply/channel_list"),
    Form("channel_word", "supply/channel_word"),
    Form("chosen_by_word", "supply/chosen_by_word"),
    Form("one_output", "supply/one_output", single=True),
    Form("apply", "supply/apply"),
    Form("two_questions", "supply/one_output", single=True),
    Form("everything_at_once", "supply/everything_at_once"),
    Form("coarse", "supply/coarse", single=True),
    Form("protection_unread", "supply/protection_unread"),
    Form("protection_in_steps", "supply/protection_in_steps"),
    Form("limit_only", "supply/limit_only", single=True),
    Form("trip_in_register", "supply/trip_in_register"),
    Form("trip_unseen", "supply/trip_unseen"),
    Form("protection_delay", "supply/protection_delay"),
    Form("remote_sense", "supply/remote_sense"),
    Form("zero_is_on", "supply/zero_is_on"),
    Form("old_words", "supply/old_words", single=True),
)
