"""What is named, in which order, and what is left open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import pytest

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.reader import load_amplifier
from benchctl.fit.diagnosis.diagnosing import diagnose
from benchctl.fit.evidence import Finding
from benchctl.fit.examination import Examination
from benchctl.fit.reading.items import NO_INSTANTS, Take
from benchctl.fit.reading.taking import Bench, RunTaken
from benchctl.fit.told import Quantity
from benchctl.fit.uneven import Halves, Unlike
from benchctl.fit.unseen import Unseen

NO_TAKE = Take("", "", "burst", 1000.0, 0.8, 14.4, (), 1.0, 8, {}, NO_INSTANTS, {}, {}, None, 0.0)
RESERVOIR = "reservoir of the rails, both as one"


@pytest.fixture(scope="module")
def hx2150() -> Amplifier:
    return load_amplifier("hx2150")


def examined(
    amplifier: Amplifier,
    quantities: Sequence[Quantity],
    findings: Sequence[Finding] = (),
    no_fit: str = "",
    unseen: Sequence[Unseen] = (),
) -> Examination:
    run = RunTaken("a run", amplifier, (), Bench(0.0, 0.0, 0.0, senses_terminals=False), (), (), ())
    return Examination(run, tuple(findings), tuple(unseen), None, tuple(quantities), no_fit)


def reservoir(value_f: float, expanded_f: float, untold: str = "") -> Quantity:
    return Quantity("reservoir", RESERVOIR, "F", value_f, expanded_f, untold)


def test_an_aged_reservoir_is_named_with_both_values(hx2150: Amplifier) -> None:
    before, after = examined(hx2150, [reservoir(0.030, 0.003)]), examined(hx2150, [reservoir(0.017, 0.002)])
    told = diagnose(after, before)
    assert told.first_sentence == (
        f"{RESERVOIR}: 17.0 ± 2.0 mF, 30.0 ± 3.0 mF before (43 % less); it may be that capacitors of the reservoir "
        "have aged, or one is open"
    )
    assert told.named[0].against == ("the earlier run",)
    assert "out of the circuit" in told.named[0].decides


def test_a_difference_within_both_uncertainties_is_no_change(hx2150: Amplifier) -> None:
    told = diagnose(examined(hx2150, [reservoir(0.026, 0.003)]), examined(hx2150, [reservoir(0.030, 0.003)]))
    assert told.named == told.perhaps == ()
    assert told.unchanged == (f"{RESERVOIR}: 26.0 ± 3.0 mF",)
    assert told.first_sentence.startswith("nothing that aged was seen")


def test_a_difference_that_chance_may_make_among_so_many_is_not_named(hx2150: Amplifier) -> None:
    """5 mF apart with 4.24 mF of both: 2.4 standard deviations, as one of a dozen is in one sound unit of five."""
    told = diagnose(examined(hx2150, [reservoir(0.025, 0.003)]), examined(hx2150, [reservoir(0.030, 0.003)]))
    assert told.named == ()
    assert len(told.perhaps) == 1


def test_a_certain_change_that_is_small_is_no_sign_of_age(hx2150: Amplifier) -> None:
    told = diagnose(examined(hx2150, [reservoir(0.029, 1e-4)]), examined(hx2150, [reservoir(0.030, 1e-4)]))
    assert told.named == ()
    assert len(told.small) == 1


def test_what_is_untold_is_never_called_sound(hx2150: Amplifier) -> None:
    after = examined(hx2150, [reservoir(math.nan, math.nan, "no burst was recorded")])
    told = diagnose(after, examined(hx2150, [reservoir(0.030, 0.003)]))
    assert told.untold == (Unseen("reservoir", RESERVOIR, "no burst was recorded"),)
    assert told.unchanged == ()
    assert RESERVOIR in told.first_sentence


def test_without_an_earlier_run_nothing_is_said_of_age(hx2150: Amplifier) -> None:
    told = diagnose(examined(hx2150, [reservoir(0.030, 0.003)]))
    assert "no earlier run to see ageing by" in told.first_sentence
    assert told.alone == (f"{RESERVOIR}: 30.0 ± 3.0 mF",)


def test_a_run_without_a_fit_says_that_rails_are_untold(hx2150: Amplifier) -> None:
    told = diagnose(examined(hx2150, (), no_fit="the run has no burst"))
    assert "reservoir" in told.untold[0].words
    assert told.untold[0].why == "the run has no burst"


def test_what_could_not_be_looked_for_is_untold(hx2150: Amplifier) -> None:
    joint = Unseen("joint", "joints that open when they are warm", "the heatsink warmed by 3 K only")
    told = diagnose(examined(hx2150, [reservoir(0.030, 0.003)], unseen=[joint]))
    assert told.untold == (joint,)


def test_two_causes_are_named_both_and_the_stronger_first(hx2150: Amplifier) -> None:
    bias = Finding("idle", "idle current is high", "", 9.0, "the amplifier file")
    half = Finding("half wave", "channel B has no upper half wave", "B")
    told = diagnose(examined(hx2150, (), [bias, half]))
    assert [named.cause for named in told.named] == ["half wave", "idle"]
    assert told.first_sentence.endswith("; and 1 more")


def test_of_a_dead_channel_nothing_else_is_named(hx2150: Amplifier) -> None:
    half = Finding("half wave", "channel B has no upper half wave", "B")
    dc = Finding("dc", "dc at output B is 0.4 V", "B", 30.0)
    (named,) = diagnose(examined(hx2150, (), [dc, half])).named
    assert named.cause == "half wave"
    assert named.also == ("dc at output B is 0.4 V",)


def test_what_a_dead_channel_hides_is_untold_of_that_channel_only(hx2150: Amplifier) -> None:
    told = diagnose(examined(hx2150, (), [Finding("silence", "channel B is silent", "B")]))
    assert {(each.cause, each.channel) for each in told.hidden} == {
        (cause, "B") for cause in ("half wave", "dc", "gain", "joint")
    }
    assert set(told.hidden) <= set(told.untold)


def test_a_joint_that_opens_leaves_the_gain_that_was_wrong_when_it_was_cold_a_cause(hx2150: Amplifier) -> None:
    joint = Finding("joint", "a joint of output B opens", "B")
    low = Finding("gain", "channel B has half the gain", "B", 9.0)
    assert [named.cause for named in diagnose(examined(hx2150, (), [low, joint])).named] == ["joint", "gain"]


def test_a_rail_that_has_become_lower_is_named_though_sound_rails_may_differ_by_as_much(hx2150: Amplifier) -> None:
    """1.9 % lower is within what is usual, and 0.1 % it was before."""

    def unlike(value: float) -> Examination:
        take = replace(NO_TAKE, name="burst")
        return replace(examined(hx2150, ()), unlike=Unlike(value, 0.003, Halves(take, "A", 35.3, 36.0, 0.1), True))

    (named,) = diagnose(unlike(-0.019), unlike(0.001)).named
    assert named.cause == "weak rail"
    assert named.sentence.endswith("in the earlier run they differed by 0.1%")
    assert diagnose(unlike(-0.007), unlike(0.001)).named == ()
    assert diagnose(unlike(0.001), unlike(-0.019)).named == (), "and one that was mended is none"


def test_a_gain_that_is_off_in_both_channels_is_one_cause(hx2150: Amplifier) -> None:
    off = [Finding("gain", f"channel {each} has a gain of 20", each, 9.0) for each in "AB"]
    (named,) = diagnose(examined(hx2150, (), off)).named
    assert named.channel == ""


def test_a_fault_that_was_there_before_is_said_to_be_older(hx2150: Amplifier) -> None:
    bias = Finding("idle", "idle current is high", "", 9.0)
    (named,) = diagnose(examined(hx2150, (), [bias]), examined(hx2150, (), [bias])).named
    assert named.sentence.endswith("it was so in the earlier run too")


def test_rails_too_low_for_rated_power_need_no_earlier_run(hx2150: Amplifier) -> None:
    """150 W into 4 ohm: sqrt(2 * 150 * 4) = 34.64 V of peak."""
    low = Quantity("headroom", "headroom of an output", "V", 30.0, 0.5)
    (named,) = diagnose(examined(hx2150, [low])).named
    assert "less than the 34.6 V that rated power into 4 ohm asks for" in named.sentence
    assert diagnose(examined(hx2150, [Quantity("headroom", "headroom", "V", 34.3, 0.5)])).named == ()


def test_more_power_out_than_in_is_an_error_of_measurement(hx2150: Amplifier) -> None:
    """Rails of 39.4 V from 14.4 V are 2.74 times as high, so that an ampere of rail takes at least 2.74 A."""
    headroom = Quantity("headroom", "headroom", "V", 39.4, 0.4)
    ratio = Quantity("input_ratio", "n/eta", "1", 2.4, 0.05)
    (named,) = diagnose(examined(hx2150, [headroom, ratio])).named
    assert named.cause == "impossible"
    assert "measured wrong" in named.sentence
