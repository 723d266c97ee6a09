"""The campaign of diagnoses in short: what it plants, and one unit with two faults."""

from __future__ import annotations

import random
from pathlib import Path

from benchctl.documents.amplifier_file.faults import AmplifierFaults
from benchctl.documents.reader import load_amplifier
from benchmarks.diagnosis.__main__ import faults_table, sound_lines
from benchmarks.diagnosis.planting import IN_FILE, NAMES, SIZES, UNTOLD, planted, sets_of_faults
from benchmarks.diagnosis.trial import PAIRS, jobs, judged


def test_every_repair_fault_of_an_amplifier_file_is_planted_alone_and_in_pairs() -> None:
    assert set(SIZES) == set(NAMES) == set(UNTOLD)
    assert set(IN_FILE.values()) == set(AmplifierFaults.model_fields)
    for base in ("hx2150", "kx240", "lw1200"):
        drawn = {faults for of, _, sets, _ in jobs(8 * len(PAIRS), 1) for faults in sets if of == base}
        assert drawn == {(), *sets_of_faults(load_amplifier(base))}


def test_a_draw_repeats_and_differs_from_the_next() -> None:
    hx2150, faults = load_amplifier("hx2150"), tuple(SIZES)
    first, again, other = (planted(faults, hx2150, random.Random(seed)) for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_two_faults_of_one_unit_are_both_named(tmp_path: Path) -> None:
    """An open device mutes it before the first burst, and yet the bias is told from its idle."""
    trials = judged(("hx2150", "workshop", (("open_device", "bias_too_high"),), 1), tmp_path)
    assert [verdict.how for each in trials for verdict in each.verdicts] == ["named", "named"]
    assert trials[0].others == ()
    assert faults_table(trials).row_count == 3
    assert "0/0" in sound_lines(trials)[0]
