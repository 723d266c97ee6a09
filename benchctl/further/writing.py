"""A sequence that measures some points, as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.further.measurement import Measurement
from benchctl.quantity import render

_SEARCH = "thd_n: 1 %, from: 10 mV, to: 2 V"

FURTHER, AGAIN = "the further step", "as in the earlier run"
"""How a note begins before a further step, and before one that an earlier run has measured."""

LIMITS = (
    "supply_current: {above: {from: amplifier.supply.fuse}, for: 10 s}",
    "heatsink: {above: {from: amplifier.heatsink.maximum}}",
    "output_offset: {outside: 4 V, for: 5 s}",
)
SUPPLY_LIMIT = "supply_voltage: {below: {from: amplifier.supply.minimum}, for: 500 ms}"
NO_SUPPLY_LIMIT = (
    "# No limit on the supply's voltage: a part of this is measured near the lowest that the amplifier works at."
)

ROOM_V = 1.0
"""What leads may take of the supply's voltage, so that a limit at the lowest does not trip for that alone."""


def sequence_text(
    quantity: str, before: Sequence[Measurement], further: Sequence[Measurement], amplifier: Amplifier, bench: Bench
) -> str:
    """What a fit needs besides, then the further step. A voltage other than the nominal one comes last."""
    words = "; ".join(each.words for each in further)
    name = quantity.replace("_", " ")
    lines = [
        "benchctl: sequence 1",
        f"title: {name[0].upper()}{name[1:]}, told better",
        "purpose: >",
        f"  What `benchctl fit` needs to tell the {name}: what an earlier run has measured, once more, and",
        f"  {words}.",
        "",
        *_limits([*before, *further], amplifier),
        "",
        "steps:",
        *(f"  - {step}" for step in _steps(before, further, amplifier, bench)),
    ]
    return "\n".join(lines) + "\n"


def _limits(measured: Sequence[Measurement], amplifier: Amplifier) -> Iterator[str]:
    is_near = min(each.supply_v for each in measured) < amplifier.supply.minimum_v + ROOM_V
    if is_near:
        yield NO_SUPPLY_LIMIT
    yield "limits:"
    yield from (f"  {limit}" for limit in (*LIMITS, *(() if is_near else (SUPPLY_LIMIT,))))


def _steps(
    before: Sequence[Measurement], further: Sequence[Measurement], amplifier: Amplifier, bench: Bench
) -> Iterator[str]:
    nominal_v = amplifier.supply.nominal_v
    limit = _current_limit(amplifier, bench)
    yield f"power_on: {{voltage: {{from: amplifier.supply.nominal}}, current_limit: {limit}}}"
    here = Measurement("idle", nominal_v, frequency_hz=0.0)
    ordered = sorted([*before, *further], key=lambda each: (each.supply_v != nominal_v, each.kind != "idle"))
    was_further = False
    for each in ordered:
        is_further = each in further
        if is_further or was_further:
            yield f"note: {FURTHER if is_further else AGAIN}, {each.words}"
        was_further = is_further
        if setting := _setting(here, each):
            yield f"set: {{{setting}}}"
        yield from _step(each)
        here = each if each.load_ohm else Measurement("idle", each.supply_v, here.load_ohm, here.frequency_hz)
    if was_further:
        yield f"note: {AGAIN}, the end"
    yield "power_off"


def _current_limit(amplifier: Amplifier, bench: Bench) -> str:
    supply = bench.instruments.supply
    if supply is None or supply.main.current_a >= amplifier.supply.fuse_a:
        return "{from: amplifier.supply.fuse}"
    return render(supply.main.current_a, "A")


def _setting(here: Measurement, there: Measurement) -> str:
    parts = []
    if there.load_ohm and there.load_ohm != here.load_ohm:
        parts.append(f"load: {render(there.load_ohm, 'ohm')}")
    if there.load_ohm and there.frequency_hz != here.frequency_hz:
        parts.append(f"frequency: {render(there.frequency_hz, 'Hz')}")
    if there.supply_v != here.supply_v:
        parts.append(f"supply: {render(there.supply_v, 'V')}")
    return ", ".join(parts)


def _step(each: Measurement) -> Iterator[str]:
    match each.kind:
        case "idle":
            yield "measure_idle: {for: 5 s}"
        case "burst":
            yield f"measure_burst: {{cycles: [{each.cycles}], every: 500 ms, low_level: -20 dB, {_SEARCH}}}"
        case "clean":
            yield f"find_clean_level: {{{_SEARCH}}}"
            yield "measure_continuous: {for: 3 s}"
        case _:
            yield f"measure_continuous: {{for: 2 s, level: {each.level_v * 1e3:.4g} mV}}"
