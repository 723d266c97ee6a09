"""What the evidence without a model could not look for in a run, with the reason: untold, and not sound."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.fit.evidence import alike
from benchctl.fit.reading.glances import Glance
from benchctl.fit.reading.items import CURRENT, METER_CURRENT, Take
from benchctl.fit.uneven import is_clipped_anywhere
from benchctl.measure.signal.record import OUTPUT

DRY_RAIL = "dry rail"
"""A dry capacitor of one rail: a kind of weak rail that may stay unseen where a low voltage of one rail is seen."""

NO_RECORD = "no record near 1 kHz shows it under a tone"

WARMER_K = 10.0
"""By which a heatsink must have warmed between two records alike, if joints shall have had a chance to open."""


@dataclass(frozen=True)
class Unseen:
    """One kind of fault that this run could not show; `cause` as a diagnosis names it, `channel` '' of the whole
    amplifier."""

    cause: str
    words: str
    why: str
    channel: str = ""


def unseen(amplifier: Amplifier, takes: Sequence[Take], glances: Sequence[Glance]) -> Iterator[Unseen]:
    """All of them."""
    yield from _outputs(amplifier, glances)
    yield from _at_rest(amplifier, takes)
    yield from _joints(glances)
    yield from _rails(amplifier, takes)


def _outputs(amplifier: Amplifier, glances: Sequence[Glance]) -> Iterator[Unseen]:
    for channel in amplifier.channels:
        own = [glance for glance in glances if glance.channel == channel]
        if any(glance.tells_halves for glance in own):
            continue
        why = "of all records near 1 kHz none is large enough beside its noise and dc" if own else NO_RECORD
        yield Unseen("half wave", f"half waves of output {channel}", why, channel)


def _at_rest(amplifier: Amplifier, takes: Sequence[Take]) -> Iterator[Unseen]:
    seen = {signal for take in takes if take.shape == "rest" for signal in take.items}
    if any(f"{OUTPUT}{channel}" not in seen for channel in amplifier.channels):
        yield Unseen("dc", "dc of every output", "no idle shows it")
    if not {CURRENT, METER_CURRENT} & seen:
        yield Unseen("idle", "idle current", "nobody read the supply's current in an idle")
    elif amplifier.idle_current_a is None:
        yield Unseen("idle", "whether the idle current is right", "the amplifier file states none")


def _joints(glances: Sequence[Glance]) -> Iterator[Unseen]:
    words = "joints that open when they are warm"
    rises = [
        rise
        for index, cold in enumerate(glances)
        for warm in glances[index + 1 :]
        if alike(cold, warm) and (rise := _rise(cold, warm)) is not None
    ]
    if not rises:
        yield Unseen("joint", words, "no two records of one tone were made with the heatsink known to be cold and warm")
    elif max(rises) < WARMER_K:
        why = f"between records of one tone the heatsink warmed by {max(*rises, 0.0):.0f} K only"
        yield Unseen("joint", words, why)


def _rise(cold: Glance, warm: Glance) -> float | None:
    if cold.heatsink_c is None or warm.heatsink_c is None:
        return None
    return warm.heatsink_c - cold.heatsink_c


def _rails(amplifier: Amplifier, takes: Sequence[Take]) -> Iterator[Unseen]:
    words = "a rail that is weaker than the other"
    if amplifier.outputs == "floating":
        yield Unseen("weak rail", words, "floating outputs take each half wave from both rails")
    elif not is_clipped_anywhere(amplifier, takes):
        yield Unseen("weak rail", words, "no record of a burst or a continuous tone clips far enough to tell")
    elif amplifier.rails == "regulated":
        yield Unseen(DRY_RAIL, "a dry capacitor of one rail", "rails that are held recover within a cycle of 1 kHz")
