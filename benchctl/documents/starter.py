"""The first version of your own document: commented, complete, and passing `benchctl check` as it is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from string import Template

import yaml

from benchctl.documents.driver_file.driver import Role
from benchctl.errors import UsageError

# What a new sequence may measure: once, and at every rated load.
_ONCE: Mapping[str, str] = {
    "response": "  - measure_response: {from: 20 Hz, to: 20 kHz, per_octave: 3}\n",
    "noise": "  - measure_noise: {for: 5 s}\n",
    "damping": "  - measure_damping: {loads: {from: amplifier.rated_loads}}\n",
}
_AT_EACH_LOAD: Mapping[str, str] = {
    "burst": "      - measure_burst: {cycles: [1, 8, 20], every: 500 ms, low_level: -20 dB, thd_n: 1 %}\n",
    "continuous": (
        "      - find_clean_level: {thd_n: 1 %, from: 10 mV, to: 2 V}\n      - measure_continuous: {for: 5 s}\n"
    ),
}
MEASUREMENTS = (*_AT_EACH_LOAD, *_ONCE)

_SEQUENCE = Template("""\
benchctl: sequence 1
title: $title
purpose: >
  Say here in a sentence or two what this sequence finds out; it stands at the head of the report.

parameters:                           # may be set for one run: --set supply=13.8V
  supply: {unit: V, default: {from: amplifier.supply.nominal}, purpose: what the amplifier is fed with}

limits:                               # watched from the first step to the last; any one stops the run
  supply_current: {above: {from: amplifier.supply.fuse}, for: 10 s}   # a fuse bears a burst
  supply_voltage: {below: {from: amplifier.supply.minimum}, for: 500 ms}
  heatsink: {above: {from: amplifier.heatsink.maximum}}
  output_offset: {outside: 500 mV, for: 1 s}

steps:
  - power_on: {voltage: {from: supply}, current_limit: {from: amplifier.supply.fuse}}
  - measure_idle: {for: 10 s, expect: {dc_offset: within 50 mV}}
$measurements  - power_off
""")

_SET = "  - set: {load: {from: amplifier.minimum_load}, frequency: 1 kHz}\n"
_SWEEP = """\
  - sweep:                            # the steps below are done at every combination of these
      load: {from: amplifier.rated_loads}
      frequency: [1 kHz]
    steps:
      - cool: {heatsink: below 45 degC, timeout: 40 min}
"""

_AMPLIFIER = Template("""\
benchctl: amplifier 1
title: $title
# serial: "0042"                      # of the unit on the bench
# unit: {owner: M. Lindqvist, reference: 2026-118, complaint: Left channel cuts out when warm}
class: $amplifier_class
channels: [$channels]                 # the names of its outputs
outputs: $outputs                     # grounded, or floating: neither terminal may meet an earthed probe
supply: {nominal: $nominal, minimum: $minimum, maximum: $maximum, fuse: $fuse}
remote_turn_on: {voltage: 12 V, delay: 2 s}   # leave this line out if it plays as soon as it has supply
minimum_load: $minimum_load           # per channel; a lower load is never connected
gain: $gain                           # with the controls as they are tested
rated:                                # the rating plate, a line a load: power per channel, all channels driven
${rated}idle_current: $idle_current                 # that the maker expects
heatsink: {maximum: 85 degC}          # above this every run stops; resistance and time_constant say how it warms
# rails: unregulated                  # or regulated. If left out, preflight assumes the worse case

# For a dry run the program derives plausible physics from the figures above. Where you know better, say so here:
# simulation:
#   rail_stiffness: 360 mohm
#   reservoir: 30 mF
""")

_BENCH = Template("""\
benchctl: bench 1
title: $title
# Put the figures of your own instruments here: ratings and accuracies from their data sheets, dates from their
# certificates, the resistances of your loads as you measured them.
# workshop: {name: Eastharbour Audio Repairs, tester: J. Okafor}   # for the page and the owner's sheet

instruments:
  generator:
    address: $generator
    driver: $generator_driver
    ratings: {level: 7 V, frequency: 1 MHz}
    accuracy:
      level: {reading: 1 %, fixed: 1 mV}
      frequency: {reading: 50 ppm}
    # calibrated: 2026-03-02

  oscilloscope:
    address: $oscilloscope
    driver: $oscilloscope_driver
    ratings: {bits: 8, memory: 1000000, sample_rate: 50 MSa/s, input: 300 V}
    accuracy:
      voltage: {reading: 2 %, range: 0.5 %}

  load:
    address: $load
    driver: $load_driver
    resistors:                        # one line a resistor; `channel` is the amplifier output it is wired to
$resistors
  supply:
    address: $supply
    driver: $supply_driver
    outputs:                          # `main` feeds the amplifier
      main: {number: 1, voltage: 20 V, current: 100 A}
      remote: {number: 2, voltage: 20 V, current: 1 A}
    accuracy:
      voltage: {reading: 0.1 %, fixed: 20 mV}
      current: {reading: 0.5 %, fixed: 100 mA}

  thermometer:
    address: $thermometer
    driver: $thermometer_driver
    channels: {heatsink: 101, ambient: 102, load: 103}
    accuracy:
      temperature: {fixed: 1 K}

signals:                              # what each oscilloscope channel is wired to
  outputs:
$outputs  # supply_current:
  #   {oscilloscope: 3, probe: {kind: current clamp, sensitivity: 10 mV/A, rating: 200 A, accuracy: 1 %}}
  # supply_voltage:
  #   {oscilloscope: 4, probe: {kind: differential, ratio: 10, rating: 60 V, accuracy: 1 %}}
  trigger: external                   # the generator's sync output, on the oscilloscope's external trigger

remote_turn_on: {by: supply, output: remote, voltage: 12 V}   # or {by: relay, relay: 110}, or {by: hand}
# inputs: {by: hand}                  # how one input is driven alone, for crosstalk; absent if all are fed together
# unwatched: [heatsink]               # say so where no thermometer is on the heatsink

limits:                               # what this bench bears; these hold under every sequence
  supply_current: {above: 100 A, for: 500 ms}
  load: {above: 180 degC}
""")

# The shipped driver that a new one of its role starts from.
_MODEL_DRIVERS: Mapping[Role, str] = {
    "generator": "generator/scpi99",
    "oscilloscope": "oscilloscope/preamble_list",
    "load": "load/relay_bank",
    "supply": "supply/scpi99",
    "thermometer": "thermometer/scpi99",
    "multimeter": "multimeter/scpi99",
}


def sequence_text(title: str, measurements: Sequence[str]) -> str:
    """A sequence that brings an amplifier up, measures, what spares it first, and shuts it down."""
    once = "".join(lines for name, lines in _ONCE.items() if name in measurements)
    swept = "".join(lines for name, lines in _AT_EACH_LOAD.items() if name in measurements)
    lines = (_SET + once if once else "") + (_SWEEP + swept if swept else "")
    return _SEQUENCE.substitute(title=_scalar(title), measurements=lines)


def amplifier_text(channels: Sequence[str], rated: Sequence[tuple[str, str]], **plate: str) -> str:
    """An amplifier file; `rated` is load and power as written, `plate` the rest of the plate by the names in it."""
    lines = "".join(f"  - {{load: {load}, power: {power}, thd_n: 1 %}}\n" for load, power in rated)
    return _AMPLIFIER.substitute(plate | {"title": _scalar(plate["title"])}, channels=", ".join(channels), rated=lines)


def bench_text(
    title: str,
    addresses: Mapping[str, str],
    channels: Sequence[str],
    loads: Sequence[str],
    drivers: Mapping[str, str] | None = None,
) -> str:
    """A bench file for instruments at these addresses, with a load resistor for each channel and nominal value.

    `drivers`: the driver of each role for which another than the usual one is known to fit.
    """
    named = {f"{role}_driver": (drivers or {}).get(role, usual) for role, usual in _MODEL_DRIVERS.items()}
    relays = enumerate(((load, channel) for load in loads for channel in channels), start=101)
    resistors = "".join(_resistor(load, channel, relay) for relay, (load, channel) in relays)
    outputs = "".join(_output(channel, number) for number, channel in enumerate(channels, start=1))
    return _BENCH.substitute({**named, **addresses}, title=_scalar(title), resistors=resistors, outputs=outputs)


def _resistor(load: str, channel: str, relay: int) -> str:
    return (
        f"      - {{nominal: {load}, channel: {channel}, relay: {relay}, measured: {load}, uncertainty: 1 %,\n"
        "         temperature_coefficient: 100 ppm/K, rated_power: 500 W}\n"
    )


def _output(channel: str, number: int) -> str:
    return (
        f"    {channel}: {{oscilloscope: {number}, "
        "probe: {kind: differential, ratio: 20, rating: 400 V, accuracy: 1 %}}\n"
    )


def usual_driver(role: Role) -> str:
    """The name of the shipped driver that a new one of its role starts from, unless another is named."""
    return _MODEL_DRIVERS[role]


def driver_text(shipped: str) -> str:
    """The text of a shipped driver, to be changed into one's own."""
    return (
        f"{shipped.rstrip()}\n\n# Change each command to what your instrument's manual says; `{{...}}` takes a value.\n"
    )


def _scalar(text: str) -> str:
    """A text as YAML writes it on one line: in quotes where it needs them."""
    return str(yaml.safe_dump(text, width=math.inf, allow_unicode=True)).splitlines()[0]


def write_new(path: Path, text: str) -> None:
    """Write a new file, and never over one that is there.

    Raises:
        UsageError: there is a file of this name, or it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise UsageError(f"there is a file {path} already; give another name") from None
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror or error}") from None
