"""How long the safe state takes when the run's process is killed, as far as the links to the instruments need time.

The guardians open links of their own. An instrument that takes one link at a time is free only some time after the
run's link has ended. Others need a pause between messages, or quiet after one. A serial line sends a limited number of
characters a second. Each instrument is told by itself, so the slowest one decides how long it takes.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from itertools import groupby

from benchctl.address import AddressError, parse_address
from benchctl.clock import RealClock
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.text.words import listed
from benchctl.guard.safe_state import plan_of
from benchctl.instruments.bench import open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.of_driver import link_settings
from benchctl.instruments.links.settings import LinkSettings
from benchctl.instruments.safe_part import SafePart
from benchctl.quantity import render

PROMISED_S = 1.0
"""What SAFETY.md says of a run that is killed."""

BITS_A_LETTER = 10
"""Start, eight, stop: the common way on a serial line (common practice)."""


def notes_of(bench: Bench) -> Iterator[str]:
    """Which instruments are off later than promised, and why."""
    if slow := _slow(bench):
        told = listed([f"the {name} about {render(seconds, 's', digits=2)}" for name, seconds in slow.items()])
        yield (
            f"if the run's process is killed, switching off takes longer than {render(PROMISED_S, 's')}, because of "
            f"the links: {told} (pauses, quiet, and until another link is taken, by the driver file)"
        )


def hazards_of(bench: Bench, *, unattended: bool) -> Iterator[str]:
    """If nobody is present, at least one part must take the power away in time."""
    times_s = times_to_off_s(bench)
    if unattended and times_s and min(times_s.values()) > PROMISED_S:
        yield (
            f"nobody is present, and no part of the bench is off within {render(PROMISED_S, 's')} of the run's end: "
            "generator, supply and load are all told later; use a link that is free at once for one of them"
        )


def _slow(bench: Bench) -> dict[str, float]:
    return {name: seconds for name, seconds in times_to_off_s(bench).items() if seconds > PROMISED_S}


def times_to_off_s(bench: Bench) -> dict[str, float]:
    """Instrument -> from the end of the run's process until the last of its commands is out, s."""
    by_name = groupby(sorted(_plan(bench), key=lambda part: part.instrument), key=lambda part: part.instrument)
    return {name: _told_s(tuple(parts), _link(bench, name)) for name, parts in by_name}


def _plan(bench: Bench) -> tuple[SafePart, ...]:
    """The parts of the safe state. Nothing is opened and nothing is sent."""
    addresses = {role: entry.address for role, entry in bench.instruments.items()}
    with open_bench(bench, addresses, Interlock(RealClock()), time.sleep, connect=False) as unopened:
        return plan_of(unopened)


def _link(bench: Bench, name: str) -> LinkSettings:
    return link_settings(bench.drivers[name], dict(bench.instruments.items())[name])


def _told_s(parts: tuple[SafePart, ...], link: LinkSettings) -> float:
    """The time until the link is free and all messages are sent; the quiet time after the last one delays nothing."""
    messages = [message for part in parts for message in part.commands]
    settles_s = sum(part.settle_s for part in parts[:-1])
    sent_s = sum(_sending_s(part.address, message, link) for part in parts for message in part.commands)
    free_s = link.reopen_after_s if link.clients == "one" else 0.0
    return free_s + sent_s + link.pause_s * max(len(messages) - 1, 0) + settles_s


def _sending_s(address: str, message: str, link: LinkSettings) -> float:
    try:
        is_serial = parse_address(address).interface == "ASRL"
    except AddressError:
        return 0.0
    return (len(message) + 1) * BITS_A_LETTER / link.baud if is_serial else 0.0
