"""A rail that is not like the other: where outputs clip, one half wave is lower than the other.

Tops of one record are compared, on one range of one channel: what they share goes out. The zero of that range goes out
too, for the straight part of the wave shows it beside the dc that was seen at rest. Floating outputs take each half
wave from both rails, so nothing of this kind is seen there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.fit.evidence import Finding
from benchctl.fit.reading.items import Take
from benchctl.fit.reading.tops import Tops
from benchctl.measure.signal.record import OUTPUT

MOST_UNLIKE = 0.02
"""Of the half waves' size: what two sound rails and output stages may differ by (common practice)."""

CLIPPED = 0.99
"""Of what its sine asks for: an output with less at the top of one half is clipped there."""

ANSWERS = 0.2
"""Of what the amplifier file's gain asks for: an output with less is silent or has lost contact, and not clipped. Of
the other half wave: one with less is missing."""


SOFTEST = 0.1
"""Of the swing: clipping sets in over this at most (common practice)."""


@dataclass(frozen=True)
class Halves:
    """Tops of one output in one record, and the uncertainty (k = 2) of their difference.

    `at_least`: the one that goes further is not clipped, so that both rails may differ by more.
    """

    take: Take
    channel: str
    upper_v: float
    lower_v: float
    u_v: float
    at_least: bool = False

    @property
    def unlike(self) -> float:
        """Difference over size: below 0 if the upper one is lower."""
        return (self.upper_v - self.lower_v) / max(self.upper_v, self.lower_v)

    @property
    def u(self) -> float:
        """Of `unlike`, k = 2."""
        return self.u_v / max(self.upper_v, self.lower_v)

    @property
    def times(self) -> float:
        """By how many times its uncertainty the difference is beyond what is usual."""
        return (abs(self.unlike) - MOST_UNLIKE) / self.u

    def is_near(self, other: Halves) -> bool:
        """Whether both differ by as much."""
        return abs(self.unlike - other.unlike) <= math.hypot(self.u, other.u) + MOST_UNLIKE / 2.0

    def is_like(self, other: Halves) -> bool:
        """Whether both may differ by as much."""
        lesser, greater = sorted((self, other), key=lambda halves: abs(halves.unlike))
        return self.is_near(other) or (lesser.at_least and lesser.unlike * greater.unlike > 0.0)


class Dc(NamedTuple):
    """Of an output at rest; `u`: k = 1."""

    volts: float
    u: float


@dataclass(frozen=True)
class Unlike:
    """By how much one rail is lower, as the outputs that clip show it together, with its uncertainty (k = 2); `worst`:
    of those outputs, and there are `several`."""

    value: float
    u: float
    worst: Halves
    several: bool

    @property
    def times(self) -> float:
        """By how many times its uncertainty it is beyond what is usual."""
        return (abs(self.value) - MOST_UNLIKE) / self.u


def uneven_rails(amplifier: Amplifier, takes: Sequence[Take]) -> Iterator[Finding]:
    """The same half in every channel that clips: a rail; in one of several that clip: its output stage."""
    if (unlike := unlike_rails(amplifier, takes)) is not None:
        if unlike.times > 1.0:
            yield of_rail(unlike)
    elif amplifier.outputs != "floating":
        yield from (_of_channel(halves) for halves in _worst(amplifier, takes).values() if halves.times > 1.0)


def unlike_rails(amplifier: Amplifier, takes: Sequence[Take]) -> Unlike | None:
    """None where no output clips, or where those that clip are not alike."""
    worst = {} if amplifier.outputs == "floating" else _worst(amplifier, takes)
    if not worst or not all(one.is_like(other) for one, other in combinations(worst.values(), 2)):
        return None
    most = max(worst.values(), key=lambda halves: halves.times)
    telling = [halves for halves in worst.values() if halves.is_near(most)]
    weights = [halves.u**-2 for halves in telling]
    mean = sum(weight * halves.unlike for weight, halves in zip(weights, telling, strict=True)) / sum(weights)
    return Unlike(mean, 1.0 / math.sqrt(sum(weights)), most, several=len(worst) > 1)


def _worst(amplifier: Amplifier, takes: Sequence[Take]) -> Mapping[str, Halves]:
    """Of each output that clips, the record that shows most."""
    worst: dict[str, Halves] = {}
    for halves in _clipped(amplifier, takes):
        known = worst.get(halves.channel)
        if known is None or halves.times > known.times:
            worst[halves.channel] = halves
    return worst


def is_clipped_anywhere(amplifier: Amplifier, takes: Sequence[Take]) -> bool:
    """Whether any record tells of it."""
    return any(True for _ in _clipped(amplifier, takes))


def _clipped(amplifier: Amplifier, takes: Sequence[Take]) -> Iterator[Halves]:
    rests = [take for take in takes if take.shape == "rest"]
    for take in takes:
        least_v = ANSWERS * math.sqrt(2.0) * take.level_v * amplifier.gain_ratio
        for channel, tops in take.tops.items():
            halves = _halves(take, channel, tops, _dc(rests, channel))
            if channel in take.driven and tops.asked_v > least_v and halves is not None:
                yield halves


def _halves(take: Take, channel: str, tops: Tops, dc: Dc) -> Halves | None:
    """Rails limit what an output gives with its dc in it.

    None where the half that goes less far is missing or is not clipped, for only a clipped one tells where its rail
    ends. Where dc alone may make it the lesser one, it must be clipped beyond doubt, and U holds what shows at its top
    of all that dc asks less of it than of the other.
    """
    clipped_v = CLIPPED * tops.asked_v - 2.0 * min(tops.u_v, abs(dc.volts))
    upper_v, lower_v = tops.upper_v + dc.volts, tops.lower_v - dc.volts
    lesser, other = (tops.upper_v, tops.lower_v) if upper_v < lower_v else (tops.lower_v, tops.upper_v)
    if lesser >= clipped_v or min(upper_v, lower_v) < ANSWERS * max(upper_v, lower_v):
        return None
    asked_less_v = 2.0 * abs(dc.volts) if (upper_v < lower_v) == (dc.volts < 0.0) else 0.0
    by_dc_v = asked_less_v * _passed_on(tops.asked_v - lesser, lesser)
    u_v = math.hypot(2.0 * math.hypot(tops.u_v, 2.0 * dc.u), by_dc_v)
    return Halves(take, channel, upper_v, lower_v, u_v, at_least=other >= clipped_v)


def _passed_on(cut_v: float, top_v: float) -> float:
    """The part of a volt that is asked more which shows at a top that is cut already.

    The slope of a tanh over `SOFTEST` of the swing; x - tanh(x) is x³/3 at first and less from there on, so that the
    place on it is never taken too far.
    """
    return 1.0 - math.tanh((3.0 * max(cut_v, 0.0) / (SOFTEST * top_v)) ** (1.0 / 3.0)) ** 2


def _dc(rests: Sequence[Take], channel: str) -> Dc:
    """The first one that was seen; none where none was."""
    for take in rests:
        if (item := take.items.get(f"{OUTPUT}{channel}")) is not None:
            return Dc(float(item.values[0]), math.hypot(item.scale.zero_u, float(item.noise[0])))
    return Dc(0.0, 0.0)


def _in_words(halves: Halves) -> str:
    return f"+{halves.upper_v:.3g} V and -{halves.lower_v:.3g} V under the {halves.take.name}"


def of_rail(unlike: Unlike) -> Finding:
    """One rail is weaker than the other."""
    rail = "plus" if unlike.value < 0.0 else "minus"
    halves = unlike.worst
    every = "every channel that clips does so" if unlike.several else f"channel {halves.channel} clips"
    return Finding(
        "weak rail",
        f"the {rail} rail is weaker than the other: {every} there first; output {halves.channel} at "
        f"{_in_words(halves)}",
        "",
        unlike.times,
        "the other rail",
    )


def _of_channel(halves: Halves) -> Finding:
    half = "upper" if halves.unlike < 0.0 else "lower"
    return Finding(
        "weak half",
        f"the {half} half of output {halves.channel} clips first, at {_in_words(halves)}: its {half} output device or "
        "driver leaves more of the rail",
        halves.channel,
        halves.times,
        "the other half wave",
    )
