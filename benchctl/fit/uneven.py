"""A rail that is not like the other: where outputs clip, one half wave is lower than the other.

Peaks of one record are compared, on one range of one channel: what they share goes out. Floating outputs take each half
wave from both rails, so nothing of this kind is seen there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.fit.evidence import Finding
from benchctl.fit.reading.items import Item, Take
from benchctl.fit.starts import gain_of_take
from benchctl.measure.signal.record import OUTPUT

MOST_UNLIKE = 0.02
"""Of the half waves' size: what two sound rails and output stages may differ by (common practice)."""

ASKED_OF_CLIPPED = 1.01
"""An output whose sine would go this far beyond its higher peak is clipped on one side at least."""


@dataclass(frozen=True)
class Halves:
    """Peaks of one output in one record, without its dc, and the uncertainty (k = 2) of their difference."""

    take: Take
    channel: str
    upper_v: float
    lower_v: float
    u_v: float

    @property
    def unlike(self) -> float:
        """Difference over size: below 0 if the upper one is lower."""
        return (self.upper_v - self.lower_v) / max(self.upper_v, self.lower_v)

    @property
    def times(self) -> float:
        """By how many times its uncertainty the difference is beyond what is usual."""
        size_v = max(self.upper_v, self.lower_v)
        return (abs(self.unlike) - MOST_UNLIKE) * size_v / self.u_v


def uneven_rails(amplifier: Amplifier, takes: Sequence[Take]) -> Iterator[Finding]:
    """The same half in every channel that clips: a rail; in one of several that clip: its output stage."""
    if amplifier.outputs == "floating":
        return
    worst: dict[str, Halves] = {}
    clipped: set[str] = set()
    for halves in _clipped(amplifier, takes):
        clipped.add(halves.channel)
        known = worst.get(halves.channel)
        if halves.times > 1.0 and (known is None or abs(halves.unlike) > abs(known.unlike)):
            worst[halves.channel] = halves
    uppers = {halves.unlike < 0.0 for halves in worst.values()}
    if worst and set(worst) == clipped and len(uppers) == 1:
        yield _of_rail(max(worst.values(), key=lambda halves: halves.times), several=len(worst) > 1)
    else:
        yield from (_of_channel(halves) for halves in worst.values())


def is_clipped_anywhere(amplifier: Amplifier, takes: Sequence[Take]) -> bool:
    """Whether any record tells of it."""
    return any(True for _ in _clipped(amplifier, takes))


def _clipped(amplifier: Amplifier, takes: Sequence[Take]) -> Iterator[Halves]:
    rests = [take for take in takes if take.shape == "rest"]
    for take in takes:
        for channel in take.driven if take.shape != "rest" else ():
            item = take.items.get(f"{OUTPUT}{channel}")
            if item is not None and take.cycles != 1:
                halves = _halves(take, channel, item, _dc(rests, channel))
                gain = gain_of_take(take, channel) or amplifier.gain_ratio
                asked_v = float(np.sqrt(2.0)) * take.level_v * gain
                if min(halves.upper_v, halves.lower_v) * ASKED_OF_CLIPPED < asked_v:
                    yield halves


def _halves(take: Take, channel: str, item: Item, dc_v: float) -> Halves:
    """Of a burst the last cycle, with the lower peaks on both sides of its upper one: rails fall from peak to peak."""
    times_s = take.instants.nodes_s[take.instants.sampled]
    values = item.values - dc_v
    noise_v = float(np.median(item.noise))
    u_v = 2.0 * float(np.hypot(item.scale.zero_u, 2.0 * noise_v))
    if take.shape == "steady":
        return Halves(take, channel, float(values.max()), float(-values.min()), u_v)
    period_s = 1.0 / take.frequency_hz
    last = times_s > (take.cycles - 1) * period_s
    both = times_s > (take.cycles - 1.5) * period_s
    before_v = float(-values[both & ~last].min()) if (both & ~last).any() else float(-values[last].min())
    after_v = float(-values[last].min())
    return Halves(take, channel, float(values[last].max()), (before_v + after_v) / 2.0, u_v)


def _dc(rests: Sequence[Take], channel: str) -> float:
    found = [float(item.values[0]) for take in rests if (item := take.items.get(f"{OUTPUT}{channel}")) is not None]
    return found[0] if found else 0.0


def _peaks(halves: Halves) -> str:
    return f"+{halves.upper_v:.3g} V and -{halves.lower_v:.3g} V under the {halves.take.name}"


def _of_rail(halves: Halves, *, several: bool) -> Finding:
    rail = "plus" if halves.unlike < 0.0 else "minus"
    every = "every channel that clips does so" if several else f"channel {halves.channel} clips"
    return Finding(
        "weak rail",
        f"the {rail} rail is weaker than the other: {every} there first; output {halves.channel} at {_peaks(halves)}",
        "",
        halves.times,
        "the other rail",
    )


def _of_channel(halves: Halves) -> Finding:
    half = "upper" if halves.unlike < 0.0 else "lower"
    return Finding(
        "weak half",
        f"the {half} half of output {halves.channel} clips first, at {_peaks(halves)}: its {half} output device or "
        "driver leaves more of the rail",
        halves.channel,
        halves.times,
        "the other half wave",
    )
