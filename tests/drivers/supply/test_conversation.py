"""Each shipped supply driver with a supply that speaks its form: what is set is set, what is read is true."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchctl.errors import LimitTripped
from benchmarks.forms.supplies import FORMS, Form
from tests.runner.rig import Rig, files, rig

FORM = {form.speaks: form for form in FORMS}
PROTECTED = [FORM[speaks] for speaks in ("chosen_by_word", "one_output", "trip_in_register", "trip_unseen")]


@pytest.fixture(params=FORMS, ids=lambda form: form.speaks)
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Rig]:
    form: Form = request.param
    with rig(tmp_path, files("power_off", bench=form.edits())) as made:
        made.begin()
        yield made


def output(bench: Rig) -> Any:
    """The true main output."""
    return bench.connections.main_output


def test_what_is_set_is_true_what_is_read_is_true_and_off_is_confirmed(bench: Rig) -> None:
    supply = bench.run.bench.supply
    supply.set_voltage("main", 14.4)
    supply.set_current_limit("main", 60.0)
    assert output(bench).voltage_v == pytest.approx(14.4, abs=0.03)
    assert output(bench).limit_a == pytest.approx(60.0, abs=0.3)
    supply.output_on("main")
    assert output(bench).live
    bench.run.wait(1.0)
    voltage_v, current_a = supply.measure("main")
    assert voltage_v == pytest.approx(14.4, abs=0.05)
    assert current_a == pytest.approx(0.0, abs=0.2), "the amplifier sleeps"
    supply.check_errors()
    confirmations = bench.run.guard.stop()
    assert all(each.confirmed for each in confirmations), [str(each) for each in confirmations]
    assert not output(bench).live


@pytest.mark.parametrize("form", PROTECTED, ids=lambda form: form.speaks)
def test_an_output_that_its_protection_has_switched_off_ends_the_run(form: Form, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=form.edits())) as bench:
        bench.begin()
        supply = bench.run.bench.supply
        supply.set_voltage("main", 14.4)
        supply.set_current_limit("main", 60.0)
        supply.output_on("main")
        bench.run.wait(1.0)
        assert supply.tripped_protections("main") == 0.0
        output(bench).overvoltage_v = 5.0  # as if the voltage had run away
        with pytest.raises(LimitTripped, match="off, ") as stopped:
            bench.run.wait(10.0)
        assert stopped.value.limit == "supply_protection"
        bench.run.guard.stop()
        assert bench.run.guard.tripped_outputs == ("main",)


def test_a_supply_that_cannot_tell_why_it_is_off_is_not_said_to_have_tripped(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=FORM["trip_unseen"].edits())) as bench:
        bench.begin()
        bench.run.bench.supply.output_on("main")
        output(bench).on = False  # a hand at its panel
        with pytest.raises(LimitTripped, match="went off, and this run did not switch it off; the supply cannot tell"):
            bench.run.wait(10.0)


def protected(speaks: str, tmp_path: Path, overvoltage_v: float, overcurrent_a: float) -> tuple[float, float]:
    """The true levels of a supply that was told these."""
    with rig(tmp_path, files("power_off", bench=FORM[speaks].edits())) as bench:
        bench.begin()
        bench.run.bench.supply.protect("main", overvoltage_v, overcurrent_a)
        true = output(bench)
        return true.overvoltage_v, true.overcurrent_a


def test_protection_in_steps_is_set_to_the_step_below(tmp_path: Path) -> None:
    assert protected("protection_in_steps", tmp_path, 16.4, 66.9) == (16.0, 66.5)


def test_protection_that_cannot_be_read_back_is_set_all_the_same(tmp_path: Path) -> None:
    assert protected("protection_unread", tmp_path, 16.4, 66.9)[0] == pytest.approx(16.4)


@pytest.mark.parametrize("speaks", ["channel_list", "chosen_by_word"])
def test_protection_is_set_on_the_output_that_is_meant(speaks: str, tmp_path: Path) -> None:
    assert protected(speaks, tmp_path, 16.4, 66.9) == pytest.approx((16.4, 66.9))


def test_remote_sense_is_chosen_where_the_bench_file_says_so(tmp_path: Path) -> None:
    wired = {"number: 1, voltage: 20 V, current: 120 A": "number: 1, voltage: 20 V, current: 120 A, remote_sense: yes"}
    edits = {**FORM["remote_sense"].edits(), **wired}
    with rig(tmp_path, files("power_off", bench=edits)) as bench:
        bench.begin()
        assert output(bench).remote_sense
        assert not bench.connections.outputs[2].remote_sense
    with rig(tmp_path, files("power_off", bench=FORM["remote_sense"].edits())) as bench:
        bench.begin()
        assert not output(bench).remote_sense


def test_where_one_command_sets_both_a_voltage_leaves_the_current_limit_as_it_was(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=FORM["apply"].edits())) as bench:
        bench.begin()
        supply = bench.run.bench.supply
        supply.set_current_limit("main", 60.0)
        supply.set_voltage("main", 14.4)
        supply.set_voltage("main", 13.0)
        assert output(bench).limit_a == pytest.approx(60.0, abs=0.3)
        supply.set_current_limit("main", 50.0)
        assert output(bench).voltage_v == pytest.approx(13.0, abs=0.03)
