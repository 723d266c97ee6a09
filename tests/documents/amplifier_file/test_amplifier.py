"""An amplifier file says what the rating plate claims and what the amplifier can bear."""

from __future__ import annotations

import pytest

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.reader import load_amplifier
from tests.documents.conftest import ProblemsOf, read_text


def test_the_shipped_amplifier_is_the_one_of_the_saloon_deck() -> None:
    amplifier = load_amplifier("hx2150")
    assert (amplifier.title, amplifier.amplifier_class, amplifier.channels) == ("HX 2150", "AB", ("A", "B"))
    assert (amplifier.outputs, amplifier.minimum_load_ohm) == ("grounded", 2.0)
    assert (amplifier.supply.minimum_v, amplifier.supply.nominal_v, amplifier.supply.maximum_v) == (10.5, 14.4, 16.0)
    assert amplifier.supply.fuse_a == 80.0
    assert amplifier.gain_ratio == pytest.approx(31.6227766, rel=1e-9)  # 30 dB = 10^(30/20), by definition
    assert amplifier.heatsink.maximum_c == 85.0
    assert amplifier.remote_turn_on is not None
    assert amplifier.remote_turn_on.delay_s == 2.0


def test_a_rating_is_looked_up_by_its_load() -> None:
    amplifier = load_amplifier("hx2150")
    two_ohm = amplifier.rating(2.0)
    assert two_ohm is not None
    assert (two_ohm.power_w, two_ohm.thd_n) == (250.0, 0.01)
    assert amplifier.rating(8.0) is None


def test_only_what_cannot_be_guessed_must_be_given() -> None:
    amplifier = read_text(
        """
        benchctl: amplifier 1
        title: Plain
        class: D
        channels: [mono]
        outputs: floating
        supply: {nominal: 13.8 V, minimum: 10 V, maximum: 15 V, fuse: 30 A}
        minimum_load: 4 ohm
        gain: 26 dB
        rated: [{load: 4 ohm, power: 50 W}]
        heatsink: {maximum: 80 degC}
        """
    )
    assert isinstance(amplifier, Amplifier)
    assert amplifier.remote_turn_on is None
    assert amplifier.idle_current_a is None
    assert amplifier.simulation is None


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("class: AB", "class: ABC", "4:8: unknown value 'ABC'; did you mean 'AB'?"),
        ("channels: [A, B]", "channels: [A, A]", "5:15: is in the list twice"),
        ("channels: [A, B]", "channels: [A, total]", "5:15: 'total' cannot be a channel's name, for it means several"),
        ("channels: [A, B]", "channels: [All, B]", "5:12: 'All' cannot be a channel's name"),
        ("channels: [A, B]", "channels: A", "5:11: 'A' is written where a list"),
        ("channels: [A, B]", "channels: [a/b]", "5:12: 'a/b' is not accepted; a name of letters and digits is wanted"),
        ("outputs: grounded", "outputs: ground", "6:10: unknown value 'ground'; did you mean 'grounded'?"),
        ("minimum: 10.5 V", "minimum: 20 V", "7:36: the minimum supply voltage must not lie above the nominal one"),
        ("maximum: 16 V", "maximum: 12 V", "7:53: the maximum supply voltage must not lie below the nominal one"),
        ("gain: 30 dB", "gain: 30", "10:7: '30' has no unit; give %, ppm or dB"),
        ("gain: 30 dB", "gain: 300 dB", "10:7: '300 dB' is out of range"),
        ("{load: 2 ohm", "{load: 1 ohm", "13:12: 1 ohm is below the minimum load of 2 ohm"),
        ("{load: 2 ohm", "{load: 4 ohm", "13:12: 4 ohm is rated twice; keep one line"),
        (
            "idle_current: 1.6 A",
            "idle_current: 1.6 A\nleast_idle_current: 2 A",
            "16:21: it must not lie above 'idle_current', which is what it should draw",
        ),
        ("{maximum: 85 degC", "{maximum: 85 K", "16:21: '85 K': 'K' is not accepted here; give degC"),
        ("{maximum: 85 degC", "{maximum: 850 degC", "16:21: '850 degC' is out of range; it must be at most 400 degC"),
    ],
)
def test_a_rating_plate_that_cannot_be_is_refused_at_its_place(
    old: str, new: str, message: str, amplifier_text: str, problems_of: ProblemsOf
) -> None:
    assert old in amplifier_text
    (told,) = problems_of(amplifier_text.replace(old, new, 1), "amplifier")
    assert told.startswith(message)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "offset: {A: 6 mV, B: -9 mV}",
            "offset: {A: 6 mV, C: -9 mV}",
            "no channel 'C' under 'channels'; there are A, B",
        ),
        ("noise: 0.3 mV", "switching: 3 W", "only class D has this; class is AB"),
        ("noise: 0.3 mV", "commutation: 10 ns", "only class D has this; class is AB"),
        (
            "noise: 0.3 mV",
            "faults: {open_device: {channel: D, half: upper}}",
            "no channel 'D' under 'channels'; there are A, B",
        ),
        (
            "noise: 0.3 mV",
            "filters: [{kind: low-pass, corner: 80 Hz, slope: 12 dB/octave},"
            " {kind: high-pass, corner: 80 Hz, slope: 12 dB/octave, channels: [A]}]",
            "an earlier filter has the same corner and slope",
        ),
        (
            "restart: 75 degC",
            "restart: 75 degC, fold_back: 96 degC",
            "fold_back must lie below temperature, at which the amplifier mutes",
        ),
        (
            "noise: 0.3 mV",
            "faults: {dry_joint: {channel: A, opens: 50 degC, closes: 55 degC}}",
            "it must close at a lower temperature than it opens at",
        ),
    ],
)
def test_physics_that_cannot_be_are_refused_in_a_sentence(
    old: str, new: str, message: str, amplifier_text: str, problems_of: ProblemsOf
) -> None:
    assert old in amplifier_text
    (told,) = problems_of(amplifier_text.replace(old, new, 1), "amplifier")
    assert message in told


def test_every_physical_parameter_and_fault_can_be_written_with_its_unit(
    amplifier_text: str, problems_of: ProblemsOf
) -> None:
    lines = (
        "noise: 0.3 mV\n  rails: regulated\n  dropout: 11 V\n  bias_drift: 5000 ppm/K\n  soft_knee: 10 %\n"
        "  crossover: 50 mV\n  filters: [{kind: low-pass, corner: 80 Hz, slope: 24 dB/octave}]\n"
        "  faults: {aged_reservoir: 30 %, bias_too_high: 4, dc_on_output: {A: 1.2 V}, gain_mismatch: {B: -1.5 dB}}"
    )
    assert list(problems_of(amplifier_text.replace("noise: 0.3 mV", lines, 1), "amplifier")) == []


def test_a_heatsink_of_which_nothing_is_said_meets_its_maximum_at_the_worst_heat(amplifier_text: str) -> None:
    """0.4 of 2 x 250 W is 200 W (Boylestad and Nashelsky, ch. 12), and from 25 degC to 85 degC there are 60 K."""
    silent = amplifier_text.replace(", resistance: 0.55 K/W, time_constant: 8 min", "")
    for text, k_per_w in ((silent, 60.0 / 200.0), (amplifier_text, 0.55)):
        amplifier = read_text(text)
        assert isinstance(amplifier, Amplifier)
        assert amplifier.heatsink_k_per_w == pytest.approx(k_per_w)
