"""A run is a simulated one as soon as one instrument of one of its parts was, whatever kind of journal tells it."""

from __future__ import annotations

from typing import Any

import pytest

from benchctl.archive.journal.events import NEW_PARTS
from benchctl.archive.journal.simulation import simulation_of

REAL = {"supply": "FAIRLEAD,PS 1500,17,2.1", "load": "FAIRLEAD,LB 8,4,1.0"}
SERVED = {"supply": "benchctl,SUPPLY,SIM2150,1.0", "load": "benchctl,LOAD,SIM2150,1.0"}


def started(**fields: Any) -> dict[str, Any]:
    return {"event": "run started", "dry_run": False, "instruments": REAL, "simulated": [], **fields}


def test_a_run_on_real_instruments_is_none() -> None:
    found = simulation_of([started()])
    assert (found.is_simulated, found.real, found.words) == (False, ("supply", "load"), "")


def test_a_dry_run_is_simulated_as_a_whole() -> None:
    found = simulation_of([started(dry_run=True, instruments=SERVED)])
    assert (found.is_simulated, found.is_whole, found.words) == (True, True, "every instrument")


def test_one_simulated_instrument_makes_the_run_simulated_and_is_named() -> None:
    found = simulation_of([started(simulated=["load"])])
    assert (found.is_simulated, found.is_whole, found.words, found.real) == (True, False, "load", ("supply",))


def test_several_are_named_in_one_phrase() -> None:
    three = {**REAL, "thermometer": "FAIRLEAD,T 3,1,1"}
    found = simulation_of([started(instruments=three | {"generator": ""}, simulated=["supply", "load", "thermometer"])])
    assert found.words == "supply, load and thermometer"


@pytest.mark.parametrize("kind", sorted(NEW_PARTS))
def test_one_that_is_simulated_in_a_later_part_makes_the_whole_run_simulated(kind: str) -> None:
    assert simulation_of([started(), {"event": kind, "simulated": ["supply"]}]).words == "supply"


@pytest.mark.parametrize(
    "answer", ["benchctl,SUPPLY,SIM1,1.0", '"benchctl,SUPPLY,SIM1,1.0"', "BENCHCTL,SUPPLY,1,1", "proxy:benchctl,S,1,1"]
)
def test_an_older_journal_tells_it_by_what_the_instruments_answered(answer: str) -> None:
    older = {"event": "run started", "dry_run": False, "instruments": {**REAL, "supply": answer}}
    assert simulation_of([older]).words == "supply"


def test_a_journal_that_lost_its_list_still_has_the_answers() -> None:
    assert simulation_of([started(instruments=SERVED, simulated=[])]).is_whole


def test_a_journal_without_a_beginning_says_neither() -> None:
    assert simulation_of([]).is_simulated is None
    assert simulation_of([{"event": "run resumed", "simulated": []}]).is_simulated is None
    assert simulation_of([{"event": "run resumed", "simulated": ["load"]}]).is_simulated is True
