"""A rail that is weaker than the other, from the peaks of clipped tones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.reader import load_amplifier
from benchctl.fit.reading.items import Instants, Item, Scale, Take
from benchctl.fit.reading.tops import Tops, tops_of
from benchctl.fit.uneven import uneven_rails, unlike_rails
from benchctl.measure.uncertainty import LoadResistance

GAIN, PEAK_V = 31.9, 40.0
TIMES_S = np.linspace(0.0, 2e-3, 101)


@pytest.fixture(scope="module")
def hx2150() -> Amplifier:
    return load_amplifier("hx2150")


def clipped(**limits: tuple[float, float]) -> Take:
    """A steady tone of 1 kHz that asks for 40 V of peak, cut at an upper and a lower limit in each channel."""
    asked_v = PEAK_V * np.sin(2 * np.pi * 1000 * TIMES_S)
    items = {
        f"output {channel}": Item(
            f"output {channel}",
            np.clip(asked_v, -lower_v, upper_v),
            np.full(101, 0.02),
            Scale(f"output {channel}", 0.01, "100 V", 0.001, 0.1),
        )
        for channel, (upper_v, lower_v) in limits.items()
    }
    instants = Instants(TIMES_S, np.arange(101), np.zeros((0, 2), np.int64), np.zeros(0))
    level_v = PEAK_V / GAIN / np.sqrt(2.0)
    loads = {channel: LoadResistance(4.0, 4.0) for channel in limits}
    phases = dict.fromkeys(limits, 0.0)
    take = Take(
        "", "tone", "steady", 1000.0, level_v, 14.4, tuple(limits), 1.0, 0, loads, instants, phases, items, 23.0, 20.0
    )
    return with_items(take, items)


def with_items(take: Take, items: Mapping[str, Item]) -> Take:
    """Other values under the same tone."""
    turns = 1000.0 * TIMES_S
    found = {
        signal.removeprefix("output "): tops_of(turns, item.values, float(item.noise[0]))
        for signal, item in items.items()
    }
    return replace(take, items=items, tops={channel: tops for channel, tops in found.items() if tops is not None})


def test_a_rail_that_is_lower_in_every_channel_is_named(hx2150: Amplifier) -> None:
    (found,) = uneven_rails(hx2150, [clipped(A=(33.0, 37.0), B=(33.1, 37.1))])
    assert (found.kind, found.channel) == ("weak rail", "")
    assert "the plus rail is weaker" in found.sentence


def test_one_channel_of_two_is_its_output_stage(hx2150: Amplifier) -> None:
    (found,) = uneven_rails(hx2150, [clipped(A=(37.0, 37.0), B=(37.0, 33.0))])
    assert (found.kind, found.channel) == ("weak half", "B")
    assert "lower half of output B" in found.sentence


def test_alike_rails_and_tones_that_do_not_clip_say_nothing(hx2150: Amplifier) -> None:
    assert list(uneven_rails(hx2150, [clipped(A=(37.0, 36.8), B=(37.0, 37.2))])) == []
    assert list(uneven_rails(hx2150, [clipped(A=(45.0, 45.0), B=(45.0, 45.0))])) == []


def test_an_error_of_zero_and_dc_at_an_output_make_no_rail_weak(hx2150: Amplifier) -> None:
    """The oscilloscope shows everything 1 V too high; or the output has 1 V of dc, which was seen at rest."""
    take = clipped(A=(36.0, 36.0))
    item = take.items["output A"]
    shifted = with_items(take, {"output A": replace(item, values=item.values + 1.0)})
    assert list(uneven_rails(hx2150, [shifted])) == []
    asked_v = PEAK_V * np.sin(2 * np.pi * 1000 * TIMES_S) + 1.0
    moved = with_items(take, {"output A": replace(item, values=np.clip(asked_v, -36.0, 36.0))})
    assert list(uneven_rails(hx2150, [at_rest(take, 1.0), moved])) == []


@pytest.mark.parametrize("peak_v", [30.0, 37.0])
def test_dc_beneath_a_tone_that_clips_nowhere_or_at_one_rail_only_makes_no_rail_weak(
    hx2150: Amplifier, peak_v: float
) -> None:
    """3 V of dc beneath a sine between rails of 36 V: 30 V of peak go to 33 V and -27 V, 37 V to 36 V and -34 V."""
    shown, take = at_dc(peak_v, (36.0, 36.0))
    assert list(uneven_rails(hx2150, [at_rest(take, 3.0), shown])) == []


def test_a_top_that_noise_makes_low_is_not_clipped_where_dc_makes_it_the_lesser_one(hx2150: Amplifier) -> None:
    """1.4 % less than its sine asks for, by noise of 1 %."""
    shown, take = at_dc(29.1, (36.0, 36.0))
    noisy = replace(shown, tops={"A": Tops(29.1, 28.7, 29.1, 3.0, 0.3)})
    assert list(uneven_rails(hx2150, [at_rest(take, 3.0), noisy])) == []


def test_dc_beneath_a_tone_that_clipping_only_begins_to_bend_makes_no_rail_weak(hx2150: Amplifier) -> None:
    """A tenth of a swing of 36 V bends; 0.6 V of dc beneath 37 V of peak bring the tops to 35.3 V and 35.1 V."""
    shown, take = at_dc(37.0, (60.0, 60.0))
    asked_v = 0.6 + 37.0 * np.sin(2 * np.pi * 1000 * TIMES_S)
    bent_v = np.copysign(32.4 + 3.6 * np.tanh(np.maximum(np.abs(asked_v) - 32.4, 0.0) / 3.6), asked_v)
    soft_v = np.where(np.abs(asked_v) > 32.4, bent_v, asked_v)
    item = replace(shown.items["output A"], values=soft_v)
    rest = at_rest(take, 0.6)
    exact = replace(rest.items["output A"], scale=replace(item.scale, zero_u=1e-3))
    unlike = unlike_rails(hx2150, [replace(rest, items={"output A": exact}), with_items(shown, {"output A": item})])
    assert unlike is not None
    assert abs(unlike.value) < unlike.u


def test_a_rail_that_is_weaker_shows_beside_dc_too(hx2150: Amplifier) -> None:
    shown, take = at_dc(37.0, (36.0, 30.0))
    (found,) = uneven_rails(hx2150, [at_rest(take, 3.0), shown])
    assert "the minus rail is weaker" in found.sentence


def test_an_output_whose_dc_takes_it_to_the_weak_rail_early_does_not_make_that_rail_an_output_stage(
    hx2150: Amplifier,
) -> None:
    """Rails of 40 V and 31 V: A goes to 33 V and -31 V. B on -1 V of dc ends at -31 V too, and goes up to 32 V only,
    where it is not clipped: its plus rail may reach further."""
    sine = np.sin(2 * np.pi * 1000 * TIMES_S)
    take = clipped(A=(40.0, 31.0), B=(40.0, 31.0))
    waves = {"A": 33.0 * sine, "B": 33.0 * sine - 1.0}
    shown = {signal: replace(item, values=np.maximum(waves[signal[-1]], -31.0)) for signal, item in take.items.items()}
    beneath = {"A": 0.0, "B": -1.0}
    rest = replace(
        at_rest(take, 0.0),
        items={f"output {channel}": at_rest(take, dc_v).items["output A"] for channel, dc_v in beneath.items()},
    )
    takes = [rest, with_items(take, shown)]
    (found,) = uneven_rails(hx2150, takes)
    assert (found.kind, found.channel) == ("weak rail", "")
    assert "the minus rail is weaker" in found.sentence
    unlike = unlike_rails(hx2150, takes)
    assert unlike is not None
    top_v = 33.0 * np.sin(2 * np.pi * np.array([0.22, 0.24])).mean()  # the samples beyond 0.97 of the peak
    assert unlike.value == pytest.approx(1.0 - 31.0 / top_v, abs=5e-4), "as A shows it"


def at_dc(peak_v: float, rails: tuple[float, float]) -> tuple[Take, Take]:
    """A sine on 3 V of dc, cut at both rails, and the take of which it is."""
    take = clipped(A=rails)
    wave = 3.0 + peak_v * np.sin(2 * np.pi * 1000 * TIMES_S)
    item = replace(take.items["output A"], values=np.clip(wave, -rails[1], rails[0]))
    return with_items(take, {"output A": item}), take


def at_rest(take: Take, dc_v: float) -> Take:
    item = replace(take.items["output A"], values=np.array([dc_v]), noise=np.array([1e-3]))
    return replace(take, shape="rest", items={"output A": item}, tops={})


def test_an_output_that_gives_nothing_is_not_clipped(hx2150: Amplifier) -> None:
    take = clipped(A=(37.0, 37.0))
    dead = replace(take.items["output A"], values=-1e-2 * np.ones(101), noise=np.full(101, 1e-4))
    assert list(uneven_rails(hx2150, [with_items(take, {"output A": dead})])) == []


@pytest.mark.parametrize("dc_v", [0.0, 0.5])
def test_a_half_wave_that_is_missing_ends_at_no_rail(hx2150: Amplifier, dc_v: float) -> None:
    """Half a sine of 1.8 V of peak, as dc lifts more or less of it above zero."""
    take = replace(clipped(A=(37.0, 37.0)), level_v=1.8 / GAIN / np.sqrt(2.0))
    half = np.maximum(dc_v + 1.8 * np.sin(2 * np.pi * 1000 * TIMES_S), 0.0)
    shown = with_items(take, {"output A": replace(take.items["output A"], values=half, noise=np.full(101, 1e-3))})
    assert list(uneven_rails(hx2150, [at_rest(take, dc_v), shown])) == []


def test_a_difference_within_the_noise_is_not_named(hx2150: Amplifier) -> None:
    take = clipped(A=(35.0, 36.0))
    item = take.items["output A"]
    unsure = with_items(take, {"output A": replace(item, noise=np.full(101, 0.4))})
    assert list(uneven_rails(hx2150, [take])) != []
    assert list(uneven_rails(hx2150, [unsure])) == []


def test_a_channel_of_which_less_is_known_does_not_make_a_rail_an_output_stage(hx2150: Amplifier) -> None:
    """Channel B shows the same within its noise, which alone would not be enough to name it."""
    take = clipped(A=(33.0, 36.0), B=(34.0, 36.0))
    unsure = replace(take.items["output B"], noise=np.full(101, 1.0))
    (found,) = uneven_rails(hx2150, [with_items(take, {**take.items, "output B": unsure})])
    assert found.kind == "weak rail"


def test_floating_outputs_take_each_half_from_both_rails() -> None:
    assert list(uneven_rails(load_amplifier("lw1200"), [clipped(A=(33.0, 37.0))])) == []
