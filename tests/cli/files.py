"""Documents for the commands: the shipped ones with one thing changed, and sequences that are soon done."""

from __future__ import annotations

from pathlib import Path

from benchctl import library
from tests.ports import free_ports

IDLE = """\
benchctl: sequence 1
title: Idle only
limits: {supply_current: {above: 95 A}}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - measure_idle: {for: 1 s, expect: {idle_current: below 2.5 A}}
  - power_off
"""
# A tone of half a volt makes the amplifier of hx2150.yaml draw some 20 A with 4 ohm.
TONE = """\
benchctl: sequence 1
title: Idle, then a tone
limits: {supply_current: {above: 95 A}}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - measure_idle: {for: 1 s}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - measure_continuous: {for: 1 s, level: 500 mV}
  - power_off
"""
PORTS = range(15021, 15026)


def written(path: Path, text: str, *changes: tuple[str, str]) -> Path:
    """`text` at `path` with each (old, new) changed; an old one that is not there is a mistake of the test."""
    for old, new in changes:
        assert old in text, f"{old!r} is not in what it should be changed in"
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def sequence(folder: Path, text: str = IDLE, *changes: tuple[str, str]) -> Path:
    return written(folder / "sequence.yaml", text, *changes)


def bench(folder: Path, *changes: tuple[str, str]) -> Path:
    return written(folder / "bench.yaml", library.find("benches", "workshop").read_text(encoding="utf-8"), *changes)


def amplifier(folder: Path, *changes: tuple[str, str]) -> Path:
    return written(folder / "unit.yaml", library.find("amplifiers", "hx2150").read_text(encoding="utf-8"), *changes)


def bench_on_free_ports(folder: Path) -> Path:
    """The shipped bench file with ports that nobody listens on, so that tests may run side by side."""
    return bench(
        folder, *((f"::{port}::", f"::{free}::") for port, free in zip(PORTS, free_ports(len(PORTS)), strict=True))
    )
