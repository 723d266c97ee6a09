"""What is told without any model: silence, half waves, dc, gain, idle current and a joint that opens when warm.

Such units leave little to fit, so this comes first. Each function looks for one thing and gives sentences with figures;
it says nothing where the records are not enough.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.fit.reading.glances import NEAR_HZ, Glance
from benchctl.fit.reading.items import CURRENT, METER_CURRENT, Item, Take
from benchctl.fit.starts import gain_of_take
from benchctl.measure.budget.words import rounded
from benchctl.measure.signal.record import OUTPUT
from benchctl.quantity import render

Kind = Literal["silence", "half wave", "dc", "gain", "idle", "joint", "weak rail", "weak half"]

SILENT = 0.02
"""Of the voltage that gain and level ask for: an output with less is silent."""

MOST_DC_V = 0.05
"""Of a sound output with nothing at its input (common practice)."""

MOST_APART_DB = 0.5
"""By which two channels may differ with their controls alike (common practice)."""

MOST_OFF_PLATE_DB = 1.0
IDLE_BETWEEN = (0.6, 1.6)
"""Times the idle current that the amplifier file gives (common practice)."""

OPENS = 0.5
"""Of its cold voltage: an output with less at the same level when it is warm has lost contact."""

OF_NOISE = 5.0
"""Times what may be noise or zero: an output with less tells nothing of joints."""


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, in a sentence; `channel` is '' where it is the whole amplifier.

    `times`: by how many times its uncertainty it is off what it was held `against`; infinite where no error of a bench
    could make it.
    """

    kind: Kind
    sentence: str
    channel: str = ""
    times: float = math.inf
    against: str = ""


def evidence(
    amplifier: Amplifier, takes: Sequence[Take], glances: Sequence[Glance], entries: Sequence[FiguresEntry] = ()
) -> tuple[Finding, ...]:
    """All of it, in the order in which it leaves nothing to say of the rest."""
    silent = tuple(silence(amplifier, glances))
    halves = tuple(half_waves(glances))
    out = {finding.channel for finding in (*silent, *halves)}
    joints = tuple(finding for finding in warm_joints(glances) if finding.channel not in out)
    opens = {finding.channel for finding in joints}
    gains = gain(amplifier, takes, entries, opens, out)
    return (*silent, *halves, *joints, *dc(takes), *_of_whole_waves(gains, glances), *idle(amplifier, takes))


def silence(amplifier: Amplifier, glances: Sequence[Glance]) -> Iterator[Finding]:
    """A channel that gives nothing at any level, be there dc or not."""
    for channel in amplifier.channels:
        own = [glance for glance in glances if glance.channel == channel]
        if own and all(glance.swing_v / 2.0 < SILENT * math.sqrt(2.0) * _asked(amplifier, glance) for glance in own):
            loudest = max(own, key=lambda glance: glance.asked_v)
            yield Finding(
                "silence",
                f"channel {channel} is silent: at {render(loudest.asked_v, 'V', digits=3)} it gives "
                f"{render(loudest.swing_v / 2.0, 'V', digits=2)} peak, where its gain asks for "
                f"{render(math.sqrt(2.0) * _asked(amplifier, loudest), 'V', digits=2)}",
                channel,
            )


def half_waves(glances: Sequence[Glance]) -> Iterator[Finding]:
    """A channel of which one half wave is missing, in most of the records that can tell."""
    for channel in sorted({glance.channel for glance in glances}):
        telling = [glance for glance in glances if glance.channel == channel and glance.tells_halves]
        seen = [glance for glance in telling if glance.missing_half]
        loudest = max(seen, key=lambda glance: glance.asked_v, default=None)
        if loudest is None or len(seen) < len(telling) / 2.0:
            continue
        name = loudest.missing_half
        yield Finding(
            "half wave",
            f"channel {channel} has no {name} half wave: at {render(loudest.asked_v, 'V', digits=3)} it goes to "
            f"{loudest.upper_v:+.3g} V and {loudest.lower_v:+.3g} V; its {name} output device is open, or is not "
            "driven",
            channel,
        )


def dc(takes: Sequence[Take]) -> Iterator[Finding]:
    """Dc at an output with nothing at its input; the first idle counts."""
    idles = [take for take in takes if take.shape == "rest"]
    for signal, item in idles[0].items.items() if idles else ():
        if not signal.startswith(OUTPUT):
            continue
        value, u = float(item.values[0]), 2.0 * _uncertainty(item, float(item.values[0]))
        if abs(value) - u > MOST_DC_V:
            channel = signal.removeprefix(OUTPUT)
            yield Finding(
                "dc",
                f"dc at output {channel} is {rounded(value, u)} V; a sound output has less than "
                f"{render(MOST_DC_V, 'V')} with nothing at its input",
                channel,
                (abs(value) - MOST_DC_V) / u,
                "what any sound amplifier does",
            )


def gain(
    amplifier: Amplifier,
    takes: Sequence[Take],
    entries: Sequence[FiguresEntry] = (),
    opens: Collection[str] = (),
    dead: Collection[str] = (),
) -> Iterator[Finding]:
    """Channels against each other, and all of them against the plate.

    From the run's first figures where it ended before its first burst, and of channels with a joint that opens: those
    were taken cold.
    """
    found = {
        channel: (None if channel in opens else _gain(takes, channel)) or _gain_of_figures(entries, channel)
        for channel in amplifier.channels
        if channel not in dead
    }
    known = {channel: each for channel, each in found.items() if each is not None}
    for (one, (first, first_u)), (other, (second, second_u)) in combinations(known.items(), 2):
        ratio, u = second / first, 2.0 * second / first * math.hypot(first_u, second_u)
        decibels = 20.0 * math.log10(ratio)
        u_db = 20.0 / math.log(10.0) * u / ratio
        if abs(decibels) - u_db > MOST_APART_DB:
            low = other if ratio < 1.0 else one
            yield Finding(
                "gain",
                f"channel {other} has {rounded(ratio, u)} times the gain of channel {one} ({decibels:+.1f} dB)",
                low,
                (abs(decibels) - MOST_APART_DB) / u_db,
                "its sister channel",
            )
    for channel, (value, relative_u) in known.items():
        decibels = 20.0 * math.log10(value / amplifier.gain_ratio)
        u_db = 20.0 / math.log(10.0) * 2.0 * relative_u
        if abs(decibels) - u_db > MOST_OFF_PLATE_DB:
            yield Finding(
                "gain",
                f"channel {channel} has a gain of {rounded(value, 2.0 * value * relative_u)}, {decibels:+.1f} dB "
                f"from the {amplifier.gain_ratio:.3g} of the amplifier file",
                channel,
                (abs(decibels) - MOST_OFF_PLATE_DB) / u_db,
                "the amplifier file",
            )


def _of_whole_waves(gains: Iterable[Finding], glances: Sequence[Glance]) -> Iterator[Finding]:
    """The fundamental of half a wave is no gain, so it is said where no record tells that both halves are there."""
    doubt = "; that is so if its half waves are both there, which no record tells"
    whole = {glance.channel for glance in glances if glance.tells_halves}
    for finding in gains:
        yield finding if finding.channel in whole else replace(finding, sentence=finding.sentence + doubt)


def idle(amplifier: Amplifier, takes: Sequence[Take]) -> Iterator[Finding]:
    """The first idle current against that of the amplifier file."""
    stated_a = amplifier.idle_current_a
    idles = [take for take in takes if take.shape == "rest"]
    if stated_a is None or not idles:
        return
    item = idles[0].items.get(METER_CURRENT) or idles[0].items.get(CURRENT)
    if item is None:
        return
    value, u = float(item.values[0]), 2.0 * _uncertainty(item, float(item.values[0]))
    if value - u > IDLE_BETWEEN[1] * stated_a or value + u < IDLE_BETWEEN[0] * stated_a:
        side = "more" if value > stated_a else "less"
        limit_a = (IDLE_BETWEEN[1] if side == "more" else IDLE_BETWEEN[0]) * stated_a
        yield Finding(
            "idle",
            f"idle current is {rounded(value, u)} A, {side} than the {render(stated_a, 'A')} of the amplifier file",
            "",
            abs(value - limit_a) / u,
            "the amplifier file",
        )


def warm_joints(glances: Sequence[Glance]) -> Iterator[Finding]:
    """An output that gives much less of its input than before under such a tone, while another one still plays. Where
    all fall silent at once, the amplifier has muted itself."""
    told: set[str] = set()
    for index, cold in enumerate(glances):
        for warm in glances[index + 1 :]:
            if warm.channel in told or cold.rms_v < OF_NOISE * cold.noise_v or not _has_opened(cold, warm):
                continue
            if not _has_muted(warm, glances):
                told.add(warm.channel)
                yield _joint(cold, warm)


def _has_opened(cold: Glance, warm: Glance) -> bool:
    """By the peaks, for what a burst gives on the whole depends on the length of its record. A louder tone may clip, so
    no more is asked of it than of the first one."""
    asked_v = cold.size_v * min(warm.asked_v / cold.asked_v, 1.0)
    return _under_like_tones(cold, warm) and warm.size_v < OPENS * asked_v


def _has_muted(warm: Glance, glances: Sequence[Glance]) -> bool:
    beside = [glance for glance in glances if glance.file == warm.file and glance.channel != warm.channel]
    earlier = [glance for glance in glances if glance.taken_s < warm.taken_s]
    return bool(beside) and all(
        any(_has_opened(cold, other) for cold in earlier if cold.channel == other.channel) for other in beside
    )


def _joint(cold: Glance, warm: Glance) -> Finding:
    level = "the same level" if warm.asked_v == cold.asked_v else f"{warm.asked_v / cold.asked_v:.3g} times the level"
    return Finding(
        "joint",
        f"output {warm.channel} goes to {render(cold.size_v, 'V', digits=3)} {_warmth(cold)} and to "
        f"{render(warm.size_v, 'V', digits=3)} {_warmth(warm)} at {level}: a joint opens",
        warm.channel,
    )


def _under_like_tones(one: Glance, other: Glance) -> bool:
    """Whether two glances are at one output under tones that differ in level only."""
    return (
        one.channel == other.channel
        and one.conditions.load_ohm == other.conditions.load_ohm
        and one.conditions.frequency_hz == other.conditions.frequency_hz
        and one.conditions.supply_set_v == other.conditions.supply_set_v
        and one.conditions.driven == other.conditions.driven
    )


def alike(one: Glance, other: Glance) -> bool:
    """Whether two glances are at one output under one tone, load and supply voltage."""
    return one.asked_v == other.asked_v and _under_like_tones(one, other)


def _warmth(glance: Glance) -> str:
    heatsink = "" if glance.heatsink_c is None else f" with the heatsink at {glance.heatsink_c:.0f} degC"
    return f"after {glance.taken_s:.0f} s{heatsink}"


def _asked(amplifier: Amplifier, glance: Glance) -> float:
    filtered = 10.0 ** (amplifier.filtered_db(glance.channel, glance.conditions.frequency_hz or 1000.0) / 20.0)
    return float(amplifier.gain_ratio * glance.asked_v * filtered)


def _uncertainty(item: Item, value: float) -> float:
    scale = item.scale
    of_gain = math.hypot(scale.gain_u, scale.range_gain_u) * value
    return math.hypot(of_gain, scale.zero_u, float(item.noise[0]))


def _gain(takes: Sequence[Take], channel: str) -> tuple[float, float] | None:
    """Of the first record under a tone: far below clipping, with its relative standard uncertainty."""
    for take in takes:
        found = gain_of_take(take, channel)
        if found is not None and found > 0.0:
            scale = take.items[f"{OUTPUT}{channel}"].scale
            return found, math.hypot(scale.gain_u, scale.range_gain_u)
    return None


def _gain_of_figures(entries: Sequence[FiguresEntry], channel: str) -> tuple[float, float] | None:
    """Of the first figure of gain near 1 kHz, into its load."""
    for entry in entries:
        for figure in entry.figures:
            near = figure.frequency_hz is None or NEAR_HZ[0] <= figure.frequency_hz <= NEAR_HZ[1]
            if (figure.name, figure.channel) == ("gain", channel) and near and figure.expanded_uncertainty:
                k = figure.coverage_factor or 2.0
                return figure.value, figure.expanded_uncertainty / k / figure.value
    return None
