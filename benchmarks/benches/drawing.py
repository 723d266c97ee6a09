"""A plausible bench, an amplifier and a sequence for them, drawn at random, as the text of their files.

What is drawn: accuracies from 0.1 to 5 %, 8 to 14 bits, memories from 10 kSa to 10 MSa; with and without a clamp, a
thermometer and an instrument for the load; gains from 14 to 40 dB; an amplifier that gives less or more than its plate
says, with channels that are alike or not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

LOAD_OHM = 4.0
SUPPLY_V = 14.4
# What a converter and an output stage of class AB, or of class D, leave of the supply's power at full power (common
# practice).
EFFICIENCY = {"AB": 0.5, "D": 0.75}


@dataclass(frozen=True)
class Drawn:
    """The three files, and what of them the trial has to know again."""

    bench: str
    amplifier: str
    sequence: str
    words: str


@dataclass(frozen=True)
class _Bench:
    accuracy: str
    bits: int
    memory: int
    supply_a: int
    has_thermometer: bool
    has_load: bool
    has_clamp: bool


@dataclass(frozen=True)
class _Amplifier:
    channels: tuple[str, ...]
    kind: str
    gain_db: float
    rated_w: float
    strength: float
    mismatch_db: float

    @property
    def full_current_a(self) -> float:
        """From the supply, with all channels at rated power."""
        return len(self.channels) * self.rated_w / EFFICIENCY[self.kind] / SUPPLY_V

    @property
    def fuse_a(self) -> int:
        """As makers choose it: it bears a signal that clips hard, where the amplifier gives more than its plate."""
        return max(10, math.ceil(2.5 * self.full_current_a / 5) * 5)


def draw(seed: int) -> Drawn:
    """The same for the same seed."""
    chance = Random(seed)
    amplifier, bench = _draw_amplifier(chance), _draw_bench(chance)
    words = (
        f"{bench.bits} bits, {bench.accuracy}, {bench.memory} Sa, supply {bench.supply_a} A, "
        f"{'' if bench.has_clamp else 'no '}clamp, {'' if bench.has_thermometer else 'no '}thermometer, "
        f"{'relays' if bench.has_load else 'loads by hand'}; class {amplifier.kind}, {'+'.join(amplifier.channels)}, "
        f"{amplifier.gain_db:.1f} dB, {amplifier.rated_w:g} W x {amplifier.strength:.2f}, "
        f"B {amplifier.mismatch_db:+.1f} dB"
    )
    texts = (_bench(chance, seed, amplifier, bench), _plate(amplifier, seed), _sequence(amplifier, bench.supply_a))
    return Drawn(*texts, words)


def _between(chance: Random, low: float, high: float) -> float:
    """Evenly over the decades."""
    return float(math.exp(chance.uniform(math.log(low), math.log(high))))


def _accuracy(chance: Random) -> str:
    return f"{100 * _between(chance, 0.001, 0.05):.2f} %"


# -- the amplifier -----------------------------------------------------------------------------------------------------


def _draw_amplifier(chance: Random) -> _Amplifier:
    channels = chance.choice((("A",), ("A", "B"), ("A", "B")))
    return _Amplifier(
        channels=channels,
        kind=chance.choice(("AB", "D")),
        gain_db=chance.uniform(14.0, 40.0),
        rated_w=float(chance.choice((20, 40, 60, 100))),
        strength=chance.uniform(0.4, 1.6),  # of its plate: some have aged below it
        mismatch_db=chance.choice((0.0, 0.0, chance.uniform(-2.0, 2.0))) if len(channels) > 1 else 0.0,
    )


def _plate(amplifier: _Amplifier, seed: int) -> str:
    halves = 2 if amplifier.kind == "D" else 1  # each half of a bridged output gives half of the voltage
    rail_v = math.sqrt(2.0 * LOAD_OHM * amplifier.rated_w * amplifier.strength) * 1.08 / halves + 3.0
    mismatch = f"\n  faults: {{gain_mismatch: {{B: {amplifier.mismatch_db:.2f} dB}}}}" if amplifier.mismatch_db else ""
    return f"""\
benchctl: amplifier 1
title: Drawn {seed}
class: {amplifier.kind}
channels: [{", ".join(amplifier.channels)}]
outputs: {"floating" if amplifier.kind == "D" else "grounded"}
supply: {{nominal: {SUPPLY_V} V, minimum: 10.5 V, maximum: 16 V, fuse: {amplifier.fuse_a} A}}
remote_turn_on: {{voltage: 12 V, delay: 1 s}}
minimum_load: 2 ohm
gain: {amplifier.gain_db:.2f} dB
rated:
  - {{load: {LOAD_OHM:g} ohm, power: {amplifier.rated_w:g} W, thd_n: 1 %}}
rails: regulated
idle_current: 1.5 A
heatsink: {{maximum: 85 degC, resistance: 0.6 K/W, time_constant: 8 min}}
simulation:
  rail: {rail_v:.2f} V{mismatch}
"""


# -- the bench ---------------------------------------------------------------------------------------------------------


def _draw_bench(chance: Random) -> _Bench:
    return _Bench(
        accuracy=_accuracy(chance),
        bits=chance.choice((8, 10, 12, 14)),
        memory=round(_between(chance, 1e4, 1e7)),
        supply_a=chance.choice((20, 40, 60, 100)),
        has_thermometer=chance.random() < 0.7,
        has_load=chance.random() < 0.7,
        has_clamp=chance.random() < 0.7,
    )


def _bench(chance: Random, seed: int, amplifier: _Amplifier, bench: _Bench) -> str:
    """Its instruments, what is wired to what, and the seed of its errors."""
    resistors = [
        _resistor(chance, number, name, bench.has_load) for number, name in enumerate(amplifier.channels, start=101)
    ]
    parts = [
        f"benchctl: bench 1\ntitle: Drawn {seed}\ninstruments:\n",
        _generator_and_oscilloscope(chance, bench),
        _load(resistors) if bench.has_load else "",
        _supply(chance, bench),
        _THERMOMETER if bench.has_thermometer else "unwatched: [heatsink]\n",
        "" if bench.has_load else "loads:\n  by: hand\n  resistors:\n" + "".join(resistors),
        _signals(chance, amplifier, bench),
        "remote_turn_on: {by: supply, output: remote, voltage: 12 V}\n",
        f"simulation:\n  seed: {chance.randint(1, 9999)}\n",
    ]
    return "".join(parts)


def _generator_and_oscilloscope(chance: Random, bench: _Bench) -> str:
    span = 100 * _between(chance, 0.001, 0.02)
    rate = chance.choice((1, 10, 100))
    return f"""\
  generator:
    address: TCPIP::127.0.0.1::15021::SOCKET
    driver: generator/scpi99
    ratings: {{level: 7 V, frequency: 1 MHz}}
    accuracy: {{level: {{reading: {_accuracy(chance)}, fixed: 1 mV}}, frequency: {{reading: 50 ppm}}}}
  oscilloscope:
    address: TCPIP::127.0.0.1::15022::SOCKET
    driver: oscilloscope/preamble_list
    ratings: {{bits: {bench.bits}, memory: {bench.memory}, sample_rate: {rate} MSa/s, input: 300 V}}
    accuracy: {{voltage: {{reading: {bench.accuracy}, range: {span:.2f} %}}}}
"""


def _supply(chance: Random, bench: _Bench) -> str:
    current = f"{{reading: {_accuracy(chance)}, fixed: {chance.choice((20, 100, 200))} mA}}"
    return f"""\
  supply:
    address: TCPIP::127.0.0.1::15024::SOCKET
    driver: supply/scpi99
    outputs:
      main: {{number: 1, voltage: 20 V, current: {bench.supply_a} A}}
      remote: {{number: 2, voltage: 20 V, current: 1 A}}
    accuracy: {{voltage: {{reading: {_accuracy(chance)}, fixed: 20 mV}}, current: {current}}}
"""


def _load(resistors: Sequence[str]) -> str:
    head = "  load:\n    address: TCPIP::127.0.0.1::15023::SOCKET\n    driver: load/relay_bank\n    resistors:\n"
    return head + "".join(f"  {line}" for line in resistors)


def _resistor(chance: Random, relay: int, name: str, has_load: bool) -> str:
    switch = f"relay: {relay}, " if has_load else ""
    measured = LOAD_OHM * (1.0 + chance.uniform(-0.02, 0.02))
    values = f"measured: {measured:.3f} ohm, uncertainty: {100 * _between(chance, 0.002, 0.02):.2f} %"
    return (
        f"    - {{nominal: 4 ohm, channel: {name}, {switch}{values}, "
        "temperature_coefficient: 60 ppm/K, rated_power: 600 W}\n"
    )


_THERMOMETER = """\
  thermometer:
    address: TCPIP::127.0.0.1::15025::SOCKET
    driver: thermometer/scpi99
    channels: {heatsink: 101}
    accuracy: {temperature: {fixed: 2 K}}
"""


def _signals(chance: Random, amplifier: _Amplifier, bench: _Bench) -> str:
    lines = ["signals:", "  trigger: external", "  outputs:"]
    for number, name in enumerate(amplifier.channels, start=1):
        probe = f"{{kind: differential, ratio: 20, rating: 400 V, accuracy: {_accuracy(chance)}}}"
        lines.append(f"    {name}: {{oscilloscope: {number}, probe: {probe}}}")
    if bench.has_clamp:
        clamp = f"{{kind: current clamp, sensitivity: 10 mV/A, rating: 200 A, accuracy: {_accuracy(chance)}}}"
        lines.append(f"  supply_current: {{oscilloscope: 3, probe: {clamp}}}")
    return "\n".join(lines) + "\n"


# -- the sequence ------------------------------------------------------------------------------------------------------


def _sequence(amplifier: _Amplifier, supply_a: int) -> str:
    current_a = min(supply_a, amplifier.fuse_a)
    return f"""\
benchctl: sequence 1
title: A drawn bench
limits:
  supply_current: {{above: {amplifier.fuse_a} A, for: 500 ms}}
  supply_voltage: {{below: 10 V, for: 500 ms}}
  output_offset: {{outside: 2 V}}
steps:
  - power_on: {{voltage: {SUPPLY_V} V, current_limit: {current_a} A}}
  - measure_idle: {{for: 1 s, expect: {{idle_current: below 2 A, dc_offset: within 50 mV}}}}
  - set: {{load: {LOAD_OHM:g} ohm, frequency: 1 kHz}}
  - measure_burst: {{cycles: [4], every: 100 ms, low_level: -20 dB, thd_n: 1 %, from: 5 mV}}
  - find_clean_level: {{thd_n: 1 %, from: 5 mV, to: 7 V}}
  - measure_continuous: {{for: 1 s, expect: {{continuous_power: above {amplifier.rated_w:g} W, thd_n: below 2 %}}}}
  - power_off
"""
