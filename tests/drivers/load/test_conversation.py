"""Each shipped driver of a load against a simulated load that was written from the description of its form."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import pytest

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.errors import InstrumentError
from benchctl.guard.safe_state import make_safe
from benchctl.instruments.safe_part import SafePart
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchctl.simulator.hardware.relays import Relays
from benchmarks.forms.loads import FORMS
from benchmarks.forms.trials import bench_text
from tests.runner.rig import Edits, Rig, document, files, rig, sequence_file, shipped

INPUTS = {5, 6}
RELAY_BANKS = tuple(form.speaks for form in FORMS if form.kind == "relay bank")
CAN_BE_ASKED = tuple(form for form in RELAY_BANKS if form != "relay_text")


def bench_with(form: str) -> Edits:
    """The workshop's bench with the bank of relays that speaks so."""
    return next(each for each in FORMS if each.speaks == form).edits()


def with_electronic_load(form: str) -> Files:
    """A bench with one output and the electronic load that speaks so."""
    load = next(each for each in FORMS if each.speaks == form)
    amplifier = document(shipped("amplifiers", load.amplifier), "amplifier", Amplifier)
    return Files(sequence_file("power_off"), document(bench_text(load), "bench", Bench), amplifier)


def in_siemens(bench: Rig) -> tuple[float, ...]:
    return tuple(bench.connections.loads.conductances_s())


@pytest.mark.parametrize("form", RELAY_BANKS)
def test_a_bank_connects_one_resistor_a_channel_and_never_two(form: str, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with(form))) as bench:
        bench.begin()
        load = bench.run.bench.load
        load.connect(4.0)
        assert bench.connections.closed_relays == {1, 2} | INPUTS
        assert in_siemens(bench) == pytest.approx((1 / 4, 1 / 4), rel=0.01)
        load.connect(2.0)
        assert bench.connections.closed_relays == {3, 4} | INPUTS
        assert in_siemens(bench) == pytest.approx((1 / 2, 1 / 2), rel=0.01)
        load.disconnect()
        assert bench.connections.closed_relays == INPUTS


@pytest.mark.parametrize("form", RELAY_BANKS)
def test_the_safe_state_opens_every_relay(form: str, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with(form))) as bench:
        bench.begin()
        bench.run.bench.load.connect(2.0)
        told = [each for each in make_safe(bench.run.bench) if each.instrument == "load"]
        assert bench.connections.closed_relays == set()
        assert all(each.confirmed for each in told)
        expected = "told, and it cannot be asked" if form == "relay_text" else "confirmed"
        assert {each.state for each in told} == {expected}


@pytest.mark.parametrize("form", RELAY_BANKS)
def test_the_guardian_is_told_the_same_parts_as_the_run_has(form: str, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with(form))) as bench:
        parts = bench.run.bench.load.safe_parts()
        assert [SafePart.from_data(json.loads(json.dumps(asdict(part)))) for part in parts] == parts


@pytest.mark.parametrize("form", CAN_BE_ASKED)
def test_a_relay_that_sticks_is_seen(form: str, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with(form))) as bench:
        bench.begin()
        bench.run.bench.load.connect(4.0)
        _stick(bench.connections.relays, 1)
        with pytest.raises(InstrumentError, match="relays 3, 4 were asked to close and 1, 3, 4 are"):
            bench.run.bench.load.connect(2.0)
        told = [each for each in make_safe(bench.run.bench) if each.instrument == "load"]
        assert not all(each.confirmed for each in told)


def _stick(relays: Relays, number: int) -> None:
    relays.stuck = frozenset({number})


def test_preflight_says_of_a_bank_that_cannot_be_asked_that_nobody_sees_whether_it_obeys() -> None:
    these = files("set: {load: 4 ohm}", bench=bench_with("relay_text"))
    plan = expand(these.sequence, these.amplifier, these.bench)
    told = preflight(these, plan, unattended=False).notes
    assert any("load as switched, not confirmed" in note and "a relay that sticks is not seen" in note for note in told)


def test_a_relay_is_not_trusted_before_it_has_had_its_time(tmp_path: Path) -> None:
    """The driver waits 50 ms after each message, and the contact moves 40 ms after it."""
    slow = bench_with("relay_text")
    ((old, new),) = [(old, new) for old, new in slow.items() if "seed" in old]
    with rig(tmp_path, files("power_off", bench={**slow, old: new + "\n  relay_delay: 40 ms"})) as bench:
        bench.begin()
        bench.run.bench.load.connect(4.0)
        bench.simulated.physical_bench.advance(bench.clock.now())
        assert {1, 2} <= bench.connections.relays.made


@pytest.mark.parametrize("form", ["scpi99", "three_ranges"])
def test_an_electronic_load_is_what_was_asked_for(form: str, tmp_path: Path) -> None:
    with rig(tmp_path, with_electronic_load(form)) as bench:
        bench.begin()
        load = bench.run.bench.load
        for ohm in (4.0, 8.0, 2.0, 400.0):
            load.connect(ohm)
            assert in_siemens(bench)[0] == pytest.approx(1 / ohm, rel=0.01)
        load.disconnect()
        assert in_siemens(bench)[0] == 0.0


def test_the_range_goes_before_the_resistance_and_is_the_lowest_that_reaches_it(tmp_path: Path) -> None:
    with rig(tmp_path, with_electronic_load("three_ranges")) as bench:
        bench.begin()
        bench.taps.sent.clear()
        bench.run.bench.load.connect(4.0)
        bench.run.bench.load.connect(4.1)
        modes = [text for text in bench.taps.to("load") if text.startswith(("MODE", "RES:STAT:L1 "))]
        assert modes == ["MODE CRL", "RES:STAT:L1 4", "MODE CRM", "RES:STAT:L1 4.1"]
