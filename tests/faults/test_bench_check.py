"""A bench with mistakes in its wiring is told each of them before an amplifier pays for one; a sound one is told none.

The long form is `python -m benchmarks.bench_check`.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.bench_check import PLANTED, missing, on_drawn_bench, told

_BY_NAME = {planted.name: planted for planted in PLANTED}

# Faults that do not hide each other, so that a few runs try them all.
TOGETHER = [
    ("probe A at 1:1", "clamp not zeroed", "relays of 4 and 2 ohm swapped", "sensor of another kind"),
    ("generator for 50 ohm", "supply probe at 1:1", "sensor fell off", "no trigger"),
    ("inputs swapped", "second supply", "sensors swapped"),
    ("probe A reversed", "probe B off", "clamp reversed", "relays of A and B swapped"),
    ("sense leads open",),
]


@pytest.mark.parametrize("names", TOGETHER, ids=" + ".join)
def test_every_mistake_is_named_in_a_sentence_of_its_own(names: tuple[str, ...], tmp_path: Path) -> None:
    code, notes = told([_BY_NAME[name] for name in names], tmp_path)
    assert [name for name in names if missing(_BY_NAME[name], notes)] == []
    assert code == 5


@pytest.mark.parametrize("seed", [20261127, 20261131])
def test_a_sound_bench_is_told_that_it_agrees_with_itself(seed: int, tmp_path: Path) -> None:
    code, notes = on_drawn_bench(seed, tmp_path)
    assert code == 0, notes
    assert "the bench agrees with itself" in notes
