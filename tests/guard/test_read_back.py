"""What the run has set and somebody else changes is noticed within seconds, and nothing else is taken for that."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.errors import BenchctlError, InstrumentError, LimitTripped, SettingChanged, SettingsLost
from benchctl.guard.read_back import READ_BACK_PERIOD_S
from benchctl.guard.states import State
from benchctl.instruments.links.transports.every_link import open_link
from tests.runner.rig import POWER_ON, Rig, files, rig

# On the workshop's bench: five settings of each of the supply's two outputs, three of the generator, the relays.
SETTINGS = 5 + 5 + 3 + 1
NOTICED_WITHIN_S = (SETTINGS + 1) * READ_BACK_PERIOD_S


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    """An amplifier that is driven into its load."""
    with rig(tmp_path) as made:
        made.begin()
        made.do(POWER_ON, Set(load_ohm=4.0, frequency_hz=1000.0, level=Level(0.1)))
        yield made


def say(bench: Rig, role: str, *messages: str) -> None:
    """As a program of somebody else's would, over a link of its own."""
    link = open_link(bench.run.bench.roles[role].session.address)
    for message in messages:
        link.send(message.encode("ascii") + b"\n")
    link.close()
    bench.simulated.settle()


def ending(bench: Rig, within_s: float = NOTICED_WITHIN_S) -> BenchctlError | None:
    """Why the run has ended by then."""
    bench.clock.sleep(within_s, until=bench.run.interlock.opened)
    return bench.run.interlock.reason


@pytest.mark.parametrize(
    ("role", "message", "said"),
    [
        ("supply", "INST:NSEL 1;:VOLT 12", "the voltage of 'main' was set to 14.4 V and reads back as 12 V now"),
        ("supply", "INST:NSEL 1;:CURR 20", "the current limit of 'main' was set to 90 A and reads back as 20 A now"),
        ("supply", "INST:NSEL 1;:VOLT:PROT 20", "the over-voltage protection of 'main' was set to"),
        ("supply", "INST:NSEL 1;:CURR:PROT 110", "the over-current protection of 'main' was set to"),
        ("supply", "INST:NSEL 1;:OUTP OFF", "output 'main' was switched on and says that it is off now"),
        ("supply", "INST:NSEL 2;:VOLT 5", "the voltage of 'remote' was set to 12 V and reads back as 5 V now"),
        ("supply", "INST:NSEL 2;:OUTP OFF", "output 'remote' was switched on and says that it is off now"),
        ("generator", "SOUR:VOLT 0.2", "the level was set to 0.1 V rms and reads back as 0.2 V rms now"),
        ("generator", "SOUR:FREQ 400", "the frequency was set to 1000 Hz and reads back as 400 Hz now"),
        ("generator", "OUTP OFF", "the output was switched on and says that it is off now"),
        ("load", "ROUT:OPEN (@101)", "the relays that are closed were 101, 102, 111, 112 and are 102, 111, 112 now"),
        ("load", "ROUT:CLOS (@103)", "and are 101, 102, 103, 111, 112 now"),
        ("load", "ROUT:OPEN (@111)", "and are 101, 102, 112 now"),
    ],
)
def test_a_setting_that_somebody_else_changes_ends_the_run_within_seconds(
    bench: Rig, role: str, message: str, said: str
) -> None:
    say(bench, role, message)
    reason = ending(bench)
    assert isinstance(reason, SettingChanged)
    assert said in reason.message
    assert reason.message.startswith(f"{role} at ")
    assert "Look for a second program, a hand at its panel" in reason.advice


def test_the_bench_is_safe_once_a_change_is_noticed(bench: Rig) -> None:
    say(bench, "generator", "SOUR:VOLT 0.2")
    assert ending(bench)
    bench.clock.sleep(1.0)
    assert bench.run.guard.state is State.SAFE
    assert not bench.connections.outputs[1].live


def test_a_generator_that_is_off_and_that_somebody_switches_on_is_noticed(bench: Rig) -> None:
    bench.run.bench.generator.output_off()
    say(bench, "generator", "OUTP ON")
    reason = ending(bench)
    assert isinstance(reason, SettingChanged)
    assert "the output was switched off and says that it is on now" in reason.message


def test_an_answer_that_is_wrong_once_is_asked_for_again_and_the_run_goes_on(bench: Rig) -> None:
    answers = iter([b"0.2\n"])
    bench.taps.forge("generator", "SOUR:VOLT?", lambda: next(answers, b"0.1\n"))
    assert ending(bench) is None
    (told,) = bench.events("asked again")
    assert told["reason"] == "was set to 0.1 V rms and reads back as 0.2 V rms"


def test_what_the_run_itself_sets_is_no_change_however_often(bench: Rig) -> None:
    for step in range(40):
        bench.do(Set(level=Level(0.1 + 0.001 * step), supply_v=14.4 - 0.01 * step, load_ohm=(4.0, 2.0)[step % 2]))
        bench.clock.sleep(READ_BACK_PERIOD_S / 3)
    assert bench.run.interlock.reason is None


def test_a_supply_whose_own_protection_trips_is_said_to_have_done_that(bench: Rig) -> None:
    bench.taps.forge("supply", "NSEL 1;:OUTP?", "0")
    bench.taps.forge("supply", "NSEL 1;:SOUR:VOLT:PROT:TRIP?;:SOUR:CURR:PROT:TRIP?", "1;0")
    reason = ending(bench)
    assert isinstance(reason, LimitTripped)
    assert reason.limit == "supply_protection"


def test_an_instrument_that_was_switched_off_and_on_is_said_to_have_lost_its_settings(bench: Rig) -> None:
    """Behind a gateway whose link stands."""
    bench.simulated.instruments["generator"].device.restart()
    assert isinstance(ending(bench), SettingsLost)


def test_a_generator_that_is_gone_ends_the_run_though_nobody_needs_it_now(bench: Rig) -> None:
    bench.taps.kill("generator")
    reason = ending(bench)
    assert isinstance(reason, InstrumentError)
    assert reason.instrument == "generator"


def test_nothing_is_looked_at_before_it_is_set_or_once_the_run_is_over(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off")) as made:
        made.begin()
        made.clock.sleep(5.0)
        asked = [text for _, text in made.taps.sent if text.startswith(("SOUR:VOLT?", "SOUR:FREQ?", "OUTP?"))]
        made.run.guard.stop()
        before = len(made.taps.sent)
        made.clock.sleep(5.0)
        assert len(made.taps.sent) == before
    assert asked == ["OUTP?"], "the generator was asked once, whether it is off to begin with"
