"""The guardian process: when it acts, what it does then, and when it leaves alone."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchctl.guard.guardian.start import start_process
from benchctl.instruments.safe_part import SafePart
from tests.guard.crews import off_reading
from tests.guard.switches import DEADLINE_S, Switch, guardian

HAPPENS_SOON_S = 0.2

MakeSwitch = Callable[..., Switch]


@pytest.fixture
def heard() -> list[str]:
    """What the switches of this bench were told, in order."""
    return []


@pytest.fixture
def switch(heard: list[str]) -> Iterator[MakeSwitch]:
    """Makes switches for this bench."""
    made: list[Switch] = []

    def make(name: str = "supply", **manners: Any) -> Switch:
        made.append(Switch(name, heard, **manners))
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.fixture
def report(tmp_path: Path) -> Path:
    """Where the guardian reports."""
    return tmp_path / "guardian.jsonl"


def lines(report: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in report.read_text("utf-8").splitlines()]


def test_when_the_run_dies_everything_is_switched_off_and_then_confirmed(
    switch: MakeSwitch, heard: list[str], report: Path
) -> None:
    names = ("generator", "supply", "load")
    bench = [switch(name) for name in names]
    with guardian([each.part for each in bench], report) as process:
        process.hang_up()
        code, said = process.end()
    assert code == 0
    assert not any(each.is_on for each in bench)
    for name in names:
        assert [told for told in heard if told.startswith(name)] == [f"{name}: OUTP OFF", f"{name}: OUTP?"]
    assert "the run has died" in said
    assert "the bench is safe" in said
    assert [line["event"] for line in lines(report)] == ["acting", "safe"]


def test_a_run_that_says_it_is_done_is_left_alone(switch: MakeSwitch, heard: list[str], report: Path) -> None:
    with guardian([switch().part], report) as process:
        process.say("done")
        process.hang_up()
        assert process.end() == (0, "")
    assert heard == []
    assert not report.exists()


def test_a_word_that_is_cut_off_by_the_death_of_the_run_is_none(switch: MakeSwitch, report: Path) -> None:
    supply = switch()
    with guardian([supply.part], report) as process:
        assert process.process.stdin is not None
        process.process.stdin.write(b"done")
        process.hang_up()
        process.end()
    assert not supply.is_on


def test_beats_are_answered(switch: MakeSwitch, heard: list[str], report: Path) -> None:
    with guardian([switch().part], report) as process:
        for _ in range(3):
            process.say("beat")
            assert process.hear() == "beat"
    assert heard == []


def test_a_silent_run_is_told_that_the_guardian_acts_and_the_bench_made_safe(switch: MakeSwitch, report: Path) -> None:
    supply = switch()
    with guardian([supply.part], report, patience_s=HAPPENS_SOON_S) as process:
        assert process.hear() == "acting"
        assert supply.told_off.wait(DEADLINE_S)
        process.say("done")
        code, said = process.end()
    assert code == 0
    assert "no sign of life for 0.2 s" in said


def test_a_run_that_wakes_up_again_finds_the_bench_made_safe_once_more(
    switch: MakeSwitch, heard: list[str], report: Path
) -> None:
    supply = switch()
    with guardian([supply.part], report, patience_s=HAPPENS_SOON_S) as process:
        process.hear_said("every instrument confirms it")
        supply.is_on = True  # by a command that was on its way when the run froze
        process.say("beat")
        process.hear_said("every instrument confirms it")
        assert not supply.is_on
        process.hang_up()
        assert process.end()[0] == 0


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_run_that_hangs_and_keeps_an_only_link_to_itself_is_ended(switch: MakeSwitch, report: Path) -> None:
    supply = switch(links=1)
    hold_it = (
        "import socket, sys, time; link = socket.create_connection(('127.0.0.1', int(sys.argv[1])));"
        "link.sendall(b'OUTP?\\n'); print(link.recv(9), flush=True); time.sleep(600)"
    )
    with subprocess.Popen([sys.executable, "-c", hold_it, str(supply.port)], stdout=subprocess.PIPE) as hung:
        assert hung.stdout is not None
        assert hung.stdout.readline()
        hung.send_signal(signal.SIGSTOP)  # it stands still, and takes no signal that could be caught
        with guardian([supply.part], report, patience_s=HAPPENS_SOON_S, run_pid=hung.pid) as process:
            hung.wait(DEADLINE_S)
            assert supply.told_off.wait(DEADLINE_S)
            process.say("done")
            process.end()
    assert not supply.is_on


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_guardian_that_is_told_to_end_makes_the_bench_safe_first(
    number: int, switch: MakeSwitch, report: Path
) -> None:
    supply = switch()
    with guardian([supply.part], report) as process:
        process.process.send_signal(number)
        assert process.hear() == "acting"
        code, said = process.end()
    assert code == 0
    assert not supply.is_on
    assert "told to end" in said


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_closed_terminal_is_no_concern_of_the_guardians(switch: MakeSwitch, heard: list[str], report: Path) -> None:
    with guardian([switch().part], report) as process:
        process.process.send_signal(signal.SIGHUP)
        process.say("beat")
        assert process.hear() == "beat"
    assert heard == []


def test_an_instrument_that_is_gone_does_not_keep_the_others_on(switch: MakeSwitch, report: Path) -> None:
    gone, supply = switch("generator"), switch("supply")
    gone.close()
    with guardian([gone.part, supply.part], report) as process:
        process.hang_up()
        assert supply.told_off.wait(DEADLINE_S)
        process.hear_said("(trying on)")
    unsafe = lines(report)[-1]
    assert unsafe["event"] == "unsafe"
    assert [each["confirmed"] for each in unsafe["instruments"]] == [False, True]


def test_an_instrument_that_never_answers_is_named_with_what_to_do(switch: MakeSwitch, report: Path) -> None:
    part = SafePart("supply", switch().part.address, "output 'main' off", ("OUTP OFF",), ("OUTP?",), switches=2)
    with guardian([part], report) as process:
        process.hang_up()
        said = process.hear_said("(trying on)")
    assert "NOT SAFE, switch off by hand: supply: output 'main' off: NOT CONFIRMED" in said


def test_an_instrument_that_did_not_obey_is_told_again_until_it_confirms(switch: MakeSwitch, report: Path) -> None:
    supply = switch(sticks=2)
    with guardian([supply.part], report) as process:
        process.hang_up()
        code, said = process.end()
    assert code == 0
    assert not supply.is_on
    assert [line["event"] for line in lines(report)] == ["acting", "unsafe", "safe"]
    assert said.rstrip().endswith("every instrument confirms it")


def test_a_run_that_calls_is_told_when_the_bench_is_safe_and_need_not_have_died(
    switch: MakeSwitch, report: Path
) -> None:
    supply = switch()
    with guardian([supply.part], report) as process:
        process.say("call")
        assert process.hear() == "acting"
        code, said = process.end()
    assert not supply.is_on
    assert code == 0
    assert "the run cannot confirm that everything is off" in said


def test_what_fails_is_told_at_once_with_what_to_do_by_hand_while_a_silent_one_is_waited_for(
    switch: MakeSwitch, report: Path
) -> None:
    silent, supply = switch("generator", deaf=True), switch("supply", sticks=10**6)
    with guardian([silent.part, supply.part], report) as process:
        process.say("call")
        said = process.hear_said("guardian: NOT SAFE")
    first = next(line for line in said.splitlines() if "NOT YET CONFIRMED" in line)
    assert first == (
        "guardian: NOT YET CONFIRMED: supply: output off (it answers '1' to OUTP?)."
        " By hand, now: open the switch in the supply lead, or switch the supply off at its front panel."
    )
    assert "NOT YET CONFIRMED: generator: output off (no answer yet)" in said


def test_a_run_that_is_done_after_all_ends_the_attempts_without_another_word(switch: MakeSwitch, report: Path) -> None:
    with guardian([switch(sticks=10**6).part], report) as process:
        process.say("call")
        process.hear_said("(trying on)")
        process.say("done")
        code, said = process.end()
    assert code == 0
    assert "giving up" not in said


def test_a_supply_that_says_it_is_off_is_not_believed_while_it_gives_current(switch: MakeSwitch, report: Path) -> None:
    """OUTP? is answered 0, and so is what asks for volts and amperes, with one number where there should be two."""
    part = replace(switch().part, reading=off_reading("MEAS:VOLT?;:MEAS:CURR?", 0.1))
    with guardian([part], report) as process:
        process.hang_up()
        said = process.hear_said("(trying on)")
    assert "it says that it is off, and answers '0' where its current was asked for" in said


def test_a_run_folder_that_is_gone_keeps_nothing_on(switch: MakeSwitch, tmp_path: Path) -> None:
    supply = switch()
    with guardian([supply.part], tmp_path / "gone" / "guardian.jsonl") as process:
        process.hang_up()
        code, said = process.end()
    assert code == 0
    assert not supply.is_on
    assert "the bench is safe" in said


def test_a_run_that_ends_before_it_gave_orders_had_nothing_on() -> None:
    with start_process() as process:
        process.communicate(b'{"plan', DEADLINE_S)
    assert process.returncode == 0


def test_the_guardian_of_a_bench_of_sockets_needs_none_of_the_slow_libraries() -> None:
    """It must stand before the first output is on, and be small enough to stay alive where a run does not."""
    program = (
        "import sys, benchctl.guard.guardian.process;"
        "print([name for name in ('pyvisa', 'numpy', 'pydantic', 'rich', 'yaml') if name in sys.modules])"
    )
    printed = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert printed.strip() == "[]"
