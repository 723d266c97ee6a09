"""The number of the method, and the list of what changed at each number."""

from __future__ import annotations

import pytest

from benchctl.documents.model.figures import FIGURES
from benchctl.measure import method
from benchctl.measure.method import CHANGES, FIRST_METHOD, METHOD, Change, changes_since, methods_in_words


def test_every_number_after_the_first_has_its_list() -> None:
    assert sorted(CHANGES) == list(range(FIRST_METHOD + 1, METHOD + 1))


def test_every_change_names_figures_that_there_are_and_says_what_changed_in_a_sentence() -> None:
    for change in (change for changes in CHANGES.values() for change in changes):
        assert set(change.figures) <= set(FIGURES)
        assert change.says.strip()


def test_the_changes_since_a_method_are_those_of_later_numbers_that_concern_the_figures(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    droop, power, every = Change("a", ("droop",)), Change("b", ("continuous_power",)), Change("c")
    monkeypatch.setattr(method, "CHANGES", {2: (droop,), 3: (power, every)})
    assert list(changes_since(1, {"droop"})) == [(2, droop), (3, every)]
    assert list(changes_since(2, {"droop", "continuous_power"})) == [(3, power), (3, every)]
    assert list(changes_since(3, {"droop"})) == []


def test_methods_are_told_once_each() -> None:
    assert [methods_in_words(numbers) for numbers in ([2], [2, 1, 2], [1, 2, 3])] == ["2", "1 and 2", "1, 2 and 3"]
