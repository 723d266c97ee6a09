"""An exercise energises nothing that nobody agreed to, and leaves everything off."""

from __future__ import annotations

import socket
from collections.abc import Mapping
from pathlib import Path

import pytest

from benchctl import library
from benchctl.errors import OperatorStop, UsageError
from benchctl.instruments.exercise.exercise import Plan
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.supply import SupplyExercise
from benchctl.launch.exercise import Consent, Exercised, exercise
from benchctl.launch.needed_words import NeededWords
from benchctl.launch.simulated.serving import served
from benchmarks.exercise.benches import bench_for
from tests.cli.files import bench_on_free_ports, written

SWITCHED_ON = (b"OUTP ON", b"OUTP 1", b"INP ON")


def all_of(bench: str, *, energises: bool, role: str = "all") -> list[Exercised]:
    return exercise(bench, role, lambda _: Consent(goes_on=True, energises=energises), simulated=True)


def sent(exercised: Exercised) -> list[bytes]:
    return [said.sent for finding in exercised.findings for said in finding.said]


SHIPPED = ["workshop", "coach_bench", "eight_bit", "no_thermometer", "drawer", "untidy_workshop"]


@pytest.mark.parametrize("bench", SHIPPED)
def test_no_word_of_a_shipped_driver_fails_on_its_instrument(bench: str) -> None:
    done = all_of(bench, energises=True)
    failures = [(each.role, finding.word, finding.text) for each in done for finding in each.failures]
    assert failures == []
    assert [each.left_on for each in done] == [()] * len(done)


@pytest.mark.parametrize("name", sorted(library.shipped("drivers")))
def test_no_word_of_a_driver_file_fails_on_an_instrument_that_speaks_its_form(name: str, tmp_path: Path) -> None:
    """Simulated instruments are written from the forms' descriptions, not from driver files."""
    role = name.partition("/")[0]
    bench = written(tmp_path / "bench.yaml", bench_for(name))
    (done,) = exercise(bench, role, lambda _: Consent(goes_on=True, energises=True), simulated=True)
    assert [(finding.word, finding.text) for finding in done.failures] == []
    assert done.left_on == ()


def test_without_consent_nothing_is_switched_on_and_each_such_word_says_so() -> None:
    done = {each.role: each for each in all_of("workshop", energises=False)}
    assert not [message for each in done.values() for message in sent(each) if message.strip().endswith(SWITCHED_ON)]
    for role in ("generator", "supply"):
        (word,) = [finding for finding in done[role].findings if finding.word == "output_on"]
        assert word.verdict is Verdict.NOT_TRIED
        assert "nobody has agreed" in word.text


def test_with_consent_every_output_is_on_once_and_off_last() -> None:
    (supply,) = all_of("workshop", energises=True, role="supply")
    (on,) = [finding for finding in supply.findings if finding.word == "output_on"]
    (off,) = [finding for finding in supply.findings if finding.word == "output_off"]
    assert on.verdict is off.verdict is Verdict.WORKS
    assert [said.sent for said in off.said[-2:]] == [b"INST:NSEL 1;:OUTP OFF\n", b"INST:NSEL 2;:OUTP OFF\n"]
    (measure,) = [finding for finding in supply.findings if finding.word == "measure"]
    assert measure.verdict is Verdict.WORKS, "with the output on, the voltage that was set is measured"


def test_who_does_not_agree_has_nothing_sent() -> None:
    told: dict[str, Plan] = {}

    def no(plans: Mapping[str, Plan]) -> Consent:
        told.update(plans)
        return Consent(goes_on=False)

    assert exercise("workshop", "supply", no, simulated=True) == []
    assert "1 V and 2 V" in told["supply"].harmless[0]
    assert "Nothing may be connected" in told["supply"].energising[0]


def test_an_output_that_is_on_stays_as_it_is_and_nothing_is_set(tmp_path: Path) -> None:
    """An amplifier may be connected to it."""
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150") as instruments, socket.create_connection(instruments["supply"].socket) as link:
        link.sendall(b"INST:NSEL 1;:SOUR:VOLT 13;:OUTP ON;*OPC?\n")
        assert link.recv(10) == b"1\n"
        (supply,) = exercise(file, "supply", lambda _: Consent(goes_on=True, energises=True))
        link.sendall(b"INST:NSEL 1;:OUTP?;:SOUR:VOLT?\n")
        assert link.recv(40) == b"1;1.30000000E+01\n"
    (output,) = supply.failures
    assert (output.word, output.verdict) == ("get_output", Verdict.WRONG)
    assert "means here that output 'main' is on" in output.text
    assert supply.left_on == ("output 'main'",)


def test_while_an_output_is_on_nothing_else_of_the_bench_is_tried_either(tmp_path: Path) -> None:
    """A load that is taken off, or a signal, would reach an amplifier that is on."""
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150") as instruments, socket.create_connection(instruments["supply"].socket) as link:
        link.sendall(b"INST:NSEL 2;:SOUR:VOLT 12;:OUTP ON;*OPC?\n")
        assert link.recv(10) == b"1\n"
        done = exercise(file, "all", lambda _: Consent(goes_on=True, energises=True))
    told = [message for each in done for message in sent(each)]
    assert [message for message in told if b"?" not in message] == []
    assert [each.left_on for each in done if each.role == "supply"] == [("output 'remote'",)]
    for each in done:
        if each.role != "supply":
            assert {finding.text for finding in each.findings if finding.verdict is Verdict.NOT_TRIED} == {
                "the supply does not say that it is off, so nothing was sent"
            }


def test_a_person_who_stops_it_is_told_what_is_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C comes while the supply's output is on."""
    measure = SupplyExercise._shows_voltage

    def stopped(self: SupplyExercise, name: str) -> bool | None:
        measure(self, name)
        raise KeyboardInterrupt

    monkeypatch.setattr(SupplyExercise, "_shows_voltage", stopped)
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150") as instruments:
        with pytest.raises(OperatorStop, match="what it had switched on is off again"):
            exercise(file, "supply", lambda _: Consent(goes_on=True, energises=True))
        with socket.create_connection(instruments["supply"].socket) as link:
            link.sendall(b"INST:NSEL 1;:OUTP?\n")
            assert link.recv(10) == b"0\n"


def test_an_instrument_that_is_gone_is_told_and_ends_only_its_own_exercise(tmp_path: Path) -> None:
    done = exercise(bench_on_free_ports(tmp_path), "all", lambda _: Consent(goes_on=True))
    assert [each.role for each in done] == ["generator", "oscilloscope", "load", "supply", "thermometer"]
    for each in done:
        (finding,) = each.failures
        assert "nothing answers on 127.0.0.1" in finding.text


def test_a_role_that_the_bench_lacks_is_refused() -> None:
    with pytest.raises(UsageError, match="the bench has no thermometer; it has generator"):
        all_of("no_thermometer", energises=False, role="thermometer")


def test_words_for_bursts_count_only_for_sequences_with_bursts() -> None:
    (generator,) = all_of("workshop", energises=False, role="generator")
    with_bursts = NeededWords.of(["burst_and_continuous"]).marked(generator)
    without = NeededWords.of(["damping_and_noise"]).marked(generator)

    def needed(exercised: Exercised) -> set[str]:
        return {finding.word for finding in exercised.findings if finding.is_needed}

    assert needed(with_bursts) - needed(without) == {"burst_on", "burst_off"}
    assert "set_level" in needed(without)
