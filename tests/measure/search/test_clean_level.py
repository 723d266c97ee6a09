"""What the search for the clean level promises, on amplifiers whose clean level is known by bisection.

The amplifiers here are computed from their transfer curves, harmonic by harmonic; nothing of the search's own
imagination is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.errors import MeasurementError
from benchctl.measure.search.clean_level import CleanLevelSearch
from benchctl.measure.search.outcome import AlreadyPassed, Found, NeverReached

SINE = np.sin(2.0 * np.pi * np.arange(1024) / 1024)
HARMONICS = 20  # of 1 kHz up to 20 kHz


def _hard(signal: np.ndarray) -> np.ndarray:
    return np.clip(signal, -1.0, 1.0)


def _tanh(signal: np.ndarray) -> np.ndarray:
    return np.tanh(signal)


def _rational(knee: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda signal: signal / (1.0 + np.abs(signal) ** knee) ** (1.0 / knee)


def _sagging(softness: float) -> Callable[[np.ndarray], np.ndarray]:
    """A hard clipper whose rail gives way to the mean current that it feeds."""

    def amplify(signal: np.ndarray) -> np.ndarray:
        rail = 1.0
        for _ in range(40):
            rail = 1.0 - softness * float(np.mean(np.abs(np.clip(signal, -rail, rail))))
        return np.clip(signal, -rail, rail)

    return amplify


@dataclass
class Amplifier:
    """Distortion over level, with noise of constant voltage, and a tally of what was asked of it."""

    transfer: Callable[[np.ndarray], np.ndarray]
    bound: float = 0.01
    noise: float = 0.0  # volts; relative to the clip level of 1 V
    scatter: float = 0.0  # relative, of each measured distortion
    tried_v: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.random = np.random.default_rng(7)
        self.clean_v = self._bisect()

    def true_distortion(self, level_v: float) -> float:
        spectrum = np.abs(np.fft.rfft(self.transfer(level_v * SINE)))
        harmonics = float(np.sqrt(np.sum(spectrum[2 : HARMONICS + 1] ** 2)) / spectrum[1])
        return math.hypot(harmonics, self.noise / level_v)

    def measure(self, level_v: float) -> float:
        self.tried_v.append(level_v)
        return self.true_distortion(level_v) * (1.0 + self.scatter * float(self.random.standard_normal()))

    def _bisect(self) -> float:
        low_v, high_v = 0.05, 20.0  # noise is below the bound at the low end, clipping above it at the high end
        for _ in range(60):
            middle_v = math.sqrt(low_v * high_v)
            if self.true_distortion(middle_v) <= self.bound:
                low_v = middle_v
            else:
                high_v = middle_v
        return low_v

    @property
    def full_power_exposures(self) -> int:
        return sum(level_v >= self.clean_v * _ratio(-3.0) for level_v in self.tried_v)


def _ratio(db: float) -> float:
    return 10.0 ** (db / 20.0)


def _db(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


def _run(search: CleanLevelSearch, amplifier: Amplifier, *, flag_noise: bool = True) -> None:
    while (level_v := search.propose()) is not None:
        distortion = amplifier.measure(level_v)
        is_bound = flag_noise and distortion < 3.0 * amplifier.noise / level_v
        search.answer(level_v, distortion, is_bound)


def _search(amplifier: Amplifier, below_db: float = 40.0, step_db: float = 6.0) -> CleanLevelSearch:
    start_v = amplifier.clean_v * _ratio(-below_db)
    return CleanLevelSearch(amplifier.bound, start_v, amplifier.clean_v * _ratio(20.0), step_db=step_db)


def _found(search: CleanLevelSearch) -> Found:
    assert isinstance(search.outcome, Found)
    return search.outcome


CLIPPERS = [_hard, _tanh, _rational(3.0), _rational(6.0), _rational(12.0), _sagging(0.15)]
NAMES = ["hard", "tanh", "soft knee 3", "soft knee 6", "firm knee 12", "sagging rail"]


@pytest.mark.parametrize("phase_db", [0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
@pytest.mark.parametrize("transfer", CLIPPERS, ids=NAMES)
def test_six_full_power_exposures_give_a_twentieth_of_a_decibel_in_spite_of_noise(
    transfer: Callable[[np.ndarray], np.ndarray], phase_db: float
) -> None:
    """From 40 dB below (give or take one step), with noise 66 dB below clipping and 0.1 % of scatter."""
    amplifier = Amplifier(transfer, noise=5e-4, scatter=1e-3)
    search = _search(amplifier, below_db=37.0 + phase_db)
    _run(search, amplifier)
    found = _found(search)
    assert amplifier.full_power_exposures <= 6
    assert abs(_db(found.level_v / amplifier.clean_v)) <= 0.05 + 0.02  # the bracket, and what the scatter moves it


amplifiers = st.builds(
    Amplifier,
    transfer=st.one_of(
        st.just(_hard), st.floats(2.0, 40.0).map(_rational), st.floats(0.05, 0.3).map(_sagging), st.just(_tanh)
    ),
    bound=st.sampled_from([0.003, 0.01, 0.03, 0.1]),
    noise=st.floats(1e-6, 3e-4),
)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(amplifier=amplifiers, below_db=st.floats(20.0, 45.0), step_db=st.floats(2.0, 10.0))
def test_no_level_is_ever_proposed_beyond_the_step_above_the_highest_level_that_does_not_clip(
    amplifier: Amplifier, below_db: float, step_db: float
) -> None:
    search = _search(amplifier, below_db, step_db)
    unclipped_v = search.propose() or 0.0
    while (level_v := search.propose()) is not None:
        assert level_v <= unclipped_v * _ratio(step_db) * (1.0 + 1e-9)
        distortion = amplifier.measure(level_v)
        search.answer(level_v, distortion, distortion < 3.0 * amplifier.noise / level_v)
        if level_v <= amplifier.clean_v:
            unclipped_v = max(unclipped_v, level_v)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(amplifier=amplifiers, below_db=st.floats(20.0, 45.0))
def test_the_true_clean_level_is_within_the_resolution_above_the_one_found(
    amplifier: Amplifier, below_db: float
) -> None:
    search = _search(amplifier, below_db)
    _run(search, amplifier)
    found = _found(search)
    assert -1e-8 <= _db(amplifier.clean_v / found.level_v) <= 0.05 + 1e-6
    assert len(search.tried_levels) == len(amplifier.tried_v) <= 22


def test_a_bound_that_is_never_reached_is_said_to_be_so_with_the_highest_level_tried() -> None:
    amplifier = Amplifier(_hard)
    search = CleanLevelSearch(0.01, 0.01, 0.9)
    _run(search, amplifier)
    assert isinstance(search.outcome, NeverReached)
    assert search.outcome.level_v == pytest.approx(0.9)
    assert max(amplifier.tried_v) <= 0.9 * (1 + 1e-12)


@pytest.mark.parametrize("above_db", [0.5, 3.0, 12.0])
def test_a_start_that_clips_already_is_said_to_be_passed_and_nothing_higher_is_tried(above_db: float) -> None:
    amplifier = Amplifier(_hard)
    start_v = amplifier.clean_v * _ratio(above_db)
    search = CleanLevelSearch(0.01, start_v, 100.0)
    _run(search, amplifier)
    assert isinstance(search.outcome, AlreadyPassed)
    assert max(amplifier.tried_v) == pytest.approx(start_v)


@pytest.mark.parametrize("flag_noise", [True, False], ids=["flagged by the record", "not flagged"])
def test_noise_above_the_bound_at_a_low_level_is_not_taken_for_clipping(flag_noise: bool) -> None:
    """At the start 40 dB below, noise is five per cent; it falls as the level rises, which clipping never does."""
    amplifier = Amplifier(_hard, noise=5e-4)
    search = _search(amplifier)
    assert amplifier.true_distortion(search.propose() or 0.0) > 0.04
    _run(search, amplifier, flag_noise=flag_noise)
    assert -0.05 <= _db(_found(search).level_v / amplifier.clean_v) <= 0.0
    assert amplifier.full_power_exposures <= 6


def test_noise_that_hides_the_bound_at_every_level_is_a_named_error() -> None:
    """An oscilloscope whose own floor is twice the bound, in whatever range it works."""
    search = CleanLevelSearch(0.001, 0.01, 2.0)
    search.answer(search.propose() or 0.0, 0.002, is_bound=True)
    level_v = search.propose() or 0.0
    with pytest.raises(MeasurementError, match="noise is higher than the bound"):
        search.answer(level_v, 0.002, is_bound=True)


def test_a_search_that_begins_at_a_known_clean_level_does_not_expose_it_again() -> None:
    """As for the drive at which the first cycle reaches the bound, begun at the level where every cycle keeps it."""
    amplifier = Amplifier(_hard)
    known_v = amplifier.clean_v * _ratio(-0.8)
    search = CleanLevelSearch(0.01, known_v, 10.0, step_db=3.0, start_is_clean=True)
    _run(search, amplifier)
    assert min(amplifier.tried_v) > known_v
    assert max(amplifier.tried_v) <= known_v * _ratio(1.0) * (1 + 1e-9)
    assert -0.05 <= _db(_found(search).level_v / amplifier.clean_v) <= 0.0
    assert len(amplifier.tried_v) <= 5


def test_a_known_clean_level_at_the_top_needs_no_exposure() -> None:
    search = CleanLevelSearch(0.01, 1.0, 1.0, start_is_clean=True)
    assert search.propose() is None
    assert search.outcome == NeverReached(pytest.approx(1.0))


def test_a_known_clean_level_that_is_the_answer_is_found_without_a_distortion_of_its_own() -> None:
    amplifier = Amplifier(_hard)
    search = CleanLevelSearch(0.01, amplifier.clean_v, 10.0, start_is_clean=True)
    _run(search, amplifier)
    found = _found(search)
    assert found.level_v == pytest.approx(amplifier.clean_v)
    assert found.distortion is None


@pytest.mark.parametrize("error_db", [-6.0, -1.0, 0.0, 1.0, 6.0])
def test_an_expected_level_right_or_wrong_changes_neither_the_result_nor_the_step_rule(error_db: float) -> None:
    amplifier = Amplifier(_hard, noise=1e-4)
    search = CleanLevelSearch(
        0.01, amplifier.clean_v / 100.0, 20.0, expected_level_v=amplifier.clean_v * _ratio(error_db)
    )
    _run(search, amplifier)
    assert -0.05 <= _db(_found(search).level_v / amplifier.clean_v) <= 0.0
    assert amplifier.full_power_exposures <= 8
    for earlier, later in zip(amplifier.tried_v, amplifier.tried_v[1:], strict=False):
        assert later <= max(earlier, amplifier.clean_v) * _ratio(6.0) * (1 + 1e-9)


def test_a_good_expected_level_spares_the_amplifier_a_hard_overdrive() -> None:
    amplifier = Amplifier(_hard)
    search = CleanLevelSearch(0.01, amplifier.clean_v / 70.0, 20.0, expected_level_v=amplifier.clean_v)
    _run(search, amplifier)
    assert max(amplifier.tried_v) <= amplifier.clean_v * _ratio(1.0) * (1 + 1e-9)


def test_the_same_level_is_proposed_until_it_is_answered() -> None:
    search = CleanLevelSearch(0.01, 0.1, 2.0)
    assert search.propose() == search.propose() == pytest.approx(0.1)


@pytest.mark.parametrize("distortion", [math.nan, math.inf, -0.1])
def test_a_distortion_that_is_no_number_is_a_named_error(distortion: float) -> None:
    search = CleanLevelSearch(0.01, 0.1, 2.0)
    with pytest.raises(MeasurementError):
        search.answer(0.1, distortion)


@pytest.mark.parametrize(
    ("bound", "start_v", "highest_v", "step_db"),
    [(0.0, 0.1, 1.0, 6.0), (1.5, 0.1, 1.0, 6.0), (0.01, 2.0, 1.0, 6.0), (0.01, 0.0, 1.0, 6.0), (0.01, 0.1, 1.0, 0.01)],
)
def test_a_search_that_makes_no_sense_is_refused(
    bound: float, start_v: float, highest_v: float, step_db: float
) -> None:
    with pytest.raises(MeasurementError):
        CleanLevelSearch(bound, start_v, highest_v, step_db=step_db)
