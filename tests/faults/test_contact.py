"""Contact with an instrument is lost during a run: the question is repeated within a budget, and readings are never
guessed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.cli.shown.closing_line import last_lines
from benchctl.instruments.session import ASKED_AGAIN
from tests.faults.dry import Ended, dry_run
from tests.runner.rig import POWER_ON_LINE, files, rig

Figures = dict[tuple[object, ...], tuple[float, float]]
"""Value and expanded uncertainty of each figure of a run, by step, name and channel."""

# In the middle of the continuous measurement of the brief sequence and of its records.
BUSY_SUPPLY, BUSY_OSCILLOSCOPE = "at: 3 s", "exchange: 83"
LIMIT = "{above: 95 A, for: 500 ms}"


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> Figures:
    """The figures of a run in which nothing goes wrong."""
    ended = dry_run(tmp_path_factory.mktemp("calm"))
    assert ended.exit_code == 0
    return figures_of(ended)


def figures_of(ended: Ended) -> Figures:
    assert ended.result is not None
    table = read_figures(RunFolder.open(ended.result.folder))
    keys = table[["step", "figure", "channel"]].itertuples(index=False, name=None)
    numbers = table[["value", "expanded_uncertainty"]].fillna(0.0).itertuples(index=False, name=None)
    return dict(zip(keys, numbers, strict=True))


def assert_none_moved(measured: Figures, calm: Figures) -> None:
    """No figure differs from that of an undisturbed run by more than its uncertainty."""
    for name, (value, uncertainty) in measured.items():
        assert abs(value - calm[name][0]) <= max(uncertainty, 1e-9), name


@pytest.mark.parametrize(
    "faults",
    [
        (
            f"{{kind: no answer, instrument: supply, {BUSY_SUPPLY}}}",
            f"{{kind: reset in mid-block, instrument: oscilloscope, {BUSY_OSCILLOSCOPE}}}",
            "{kind: late answer, instrument: generator, exchange: 20}",
            "{kind: no answer, instrument: load, exchange: 1}",  # as its link is opened
        ),
        (
            f"{{kind: late answer, instrument: supply, {BUSY_SUPPLY}}}",
            f"{{kind: late answer, instrument: oscilloscope, {BUSY_OSCILLOSCOPE}}}",
            "{kind: connection dropped, instrument: supply, at: 6 s}",
        ),
    ],
    ids=["never answered", "answered late"],
)
def test_a_lost_answer_here_and_there_costs_the_run_nothing(
    tmp_path: Path, calm: Figures, faults: tuple[str, ...]
) -> None:
    """The question is asked again on a link that is in step."""
    ended = dry_run(tmp_path, *faults)
    assert sum(ended.struck.values()) == len(faults)
    assert ended.exit_code == 0
    measured = figures_of(ended)
    assert measured.keys() == calm.keys()
    assert_none_moved(measured, calm)


def test_garbled_answers_cost_the_run_nothing_and_each_is_told_in_the_journal(tmp_path: Path, calm: Figures) -> None:
    """The question is asked again, also by the guard and for the read-back of a setting."""
    places = (f"supply, {BUSY_SUPPLY}", "generator, exchange: 29", "thermometer, exchange: 15")
    ended = dry_run(tmp_path, *(f"{{kind: garbage, instrument: {place}}}" for place in places))
    assert ended.struck == {f"{role}: garbage": 1 for role in ("supply", "generator", "thermometer")}
    assert ended.exit_code == 0
    assert_none_moved(figures_of(ended), calm)
    told = [event for event in ended.events if event["event"] == ASKED_AGAIN]
    assert sorted(event["instrument"] for event in told) == ["generator", "supply", "thermometer"]
    assert all("answers" in event["reason"] for event in told)


def test_the_unit_in_an_answer_is_read_only_where_it_is_the_right_one(tmp_path: Path, calm: Figures) -> None:
    """The fault adds ` V`: to the voltage of the supply, and to a temperature, which is asked for again."""
    ended = dry_run(
        tmp_path,
        f"{{kind: unit in the answer, instrument: supply, {BUSY_SUPPLY}}}",
        "{kind: unit in the answer, instrument: thermometer, exchange: 15}",
    )
    assert sum(ended.struck.values()) == 2
    assert ended.exit_code == 0
    assert_none_moved(figures_of(ended), calm)
    (told,) = (event for event in ended.events if event["event"] == ASKED_AGAIN)
    assert told["instrument"] == "thermometer"
    assert "answers" in told["reason"]


def test_an_answer_that_is_garbled_twice_ends_the_run_safe_and_by_name(tmp_path: Path) -> None:
    ended = dry_run(tmp_path, "{kind: unit in the answer, instrument: generator, exchange: 20, times: 2}")
    assert (ended.exit_code, ended.still_on) == (5, ())
    assert re.search(r"generator at TCPIP::127.0.0.1::\d+::SOCKET: answers '\S+ V' to SOUR:", ended.said)


def test_a_setting_that_reads_back_cut_short_is_read_back_again(tmp_path: Path, calm: Figures) -> None:
    """Half a number is also a number; it is noticed because it differs from the setting."""
    ended = dry_run(tmp_path, "{kind: truncated number, instrument: generator, exchange: 20}")
    assert ended.struck == {"generator: truncated number": 1}
    assert ended.exit_code == 0
    assert_none_moved(figures_of(ended), calm)


@pytest.mark.parametrize(("for_s", "exit_code"), [(0.25, 0), (1.0, 4)])
def test_what_the_guard_cannot_read_is_passed_for_as_long_as_it_is_garbled(
    tmp_path: Path, for_s: float, exit_code: int
) -> None:
    """The limits on the supply may be passed for half a second. Steps do not read it in that time."""
    hold = "hold: {for: 5 s}"
    with rig(tmp_path, files(POWER_ON_LINE, hold, "power_off", limits={"supply_current": LIMIT})) as bench:
        bench.at(6.0, lambda: bench.taps.forge("supply", "MEAS:CURR?", "1.7 V"))
        bench.at(6.0 + for_s, bench.taps.forged.clear)
        outcome = bench.execute()
    assert outcome.exit_code == exit_code
    assert outcome.is_safe


def test_a_late_answer_is_never_taken_for_another(tmp_path: Path, calm: Figures) -> None:
    """Every twentieth answer of every instrument comes late: each reading fails or is right, and no answer is used for
    another question."""
    roles = ("generator", "oscilloscope", "load", "supply")
    faults = [f"{{kind: late answer, instrument: {role}, probability: 5 %}}" for role in roles]
    ended = dry_run(tmp_path, *faults)
    assert sum(ended.struck.values()) > 5
    assert ended.exit_code in {0, 5}
    assert_none_moved(figures_of(ended), calm)


def test_an_instrument_that_is_silent_from_the_start_is_named_before_anything_is_on(tmp_path: Path) -> None:
    ended = dry_run(tmp_path, "{kind: no answer, instrument: load, at: 0 s, for: 1 h}")
    assert ended.exit_code == 5
    assert "load at TCPIP::127.0.0.1::" in ended.said
    assert not ended.was_driven


def test_the_same_faults_end_the_same_run_alike(tmp_path: Path) -> None:
    """Time stands still while answers are lost, and chance comes from the seed: the same bytes each time."""
    faults = [f"{{kind: late answer, instrument: {role}, probability: 5 %}}" for role in ("supply", "generator")]
    faults += ["{kind: garbage, instrument: thermometer, exchange: 25}", "{kind: clock jump, by: 20 s, at: 3 s}"]
    folders = [ended.result.folder for ended in (dry_run(tmp_path, *faults) for _ in range(2)) if ended.result]
    for file in ("figures.csv", "trend.csv"):
        assert (folders[0] / file).read_bytes() == (folders[1] / file).read_bytes()
    # The ports are the system's, and each line's hash follows from the lines before it.
    ports_and_hashes = re.compile(r'::[0-9]+::|, "(hash|before)": "[0-9a-f]+"')
    journals = [ports_and_hashes.sub("", (folder / "journal.jsonl").read_text()) for folder in folders]
    assert journals[0] == journals[1]


def test_an_instrument_that_stays_silent_ends_the_run_safe_and_by_name(tmp_path: Path) -> None:
    """The question is repeated only as long as the budget lasts."""
    ended = dry_run(tmp_path, "{kind: no answer, instrument: oscilloscope, exchange: 60, for: 1 h}")
    assert (ended.exit_code, ended.still_on) == (5, ())
    assert "oscilloscope at TCPIP::127.0.0.1::" in ended.said
    assert "no answer to *IDN? in time" in ended.said
    assert ended.struck["oscilloscope: no answer"] < 20


OPEN_THE_SWITCH = {"supply 1": "open the switch in the supply lead"}


@pytest.mark.parametrize(
    ("faults", "by_hand"),
    [
        (
            ("{kind: output stuck, instrument: supply, at: 3 s}", "{kind: relay stuck, relay: 101, at: 8 s}"),
            {**OPEN_THE_SWITCH, "load": "touch no load lead"},
        ),
        (("{kind: output stuck, instrument: generator, at: 6 s}",), {"generator": "pull its lead out"}),
        (("{kind: deaf, instrument: supply, at: 3 s, for: 1 h}",), OPEN_THE_SWITCH),
    ],
    ids=["supply and load", "generator", "deaf supply"],
)
def test_what_does_not_switch_off_is_named_in_red_with_what_to_do_by_hand(
    tmp_path: Path, faults: tuple[str, ...], by_hand: dict[str, str]
) -> None:
    """In the exit line and in the journal's last event, always with exit code 5."""
    ended = dry_run(tmp_path, *faults)
    assert ended.result is not None
    assert by_hand.keys() <= set(ended.still_on)
    assert ended.exit_code == 5
    line, last = last_lines(ended.result), ended.events[-1]
    assert (last["event"], last["safe"], last["exit_code"]) == ("run ended", False, 5)
    for name, what_to_do in by_hand.items():
        assert f"NOT SAFE: {name.split(maxsplit=1)[0]}: " in str(line)
        red = [str(line)[span.start : span.end] for span in line.spans if "red" in str(span.style)]
        assert any(what_to_do in words for words in red)
        assert any(what_to_do in each["by_hand"] for each in last["instruments"] if not each["confirmed"])


@pytest.mark.parametrize(
    "times", [{"supply": 1}, {"supply": 3, "generator": 5}, {"supply": 5, "load": 5}], ids=" ".join
)
def test_an_instrument_that_misses_the_command_is_told_again(tmp_path: Path, times: dict[str, int]) -> None:
    """A limit trips while the tone sounds, and the instrument hears nothing of the first commands and questions."""
    deaf = (f"{{kind: deaf, instrument: {role}, at: 7 s, times: {each}}}" for role, each in times.items())
    ended = dry_run(tmp_path, "{kind: sensor open, at: 7 s}", *deaf)
    assert ended.struck == {"thermometer: sensor open": 1, **{f"{role}: deaf": each for role, each in times.items()}}
    assert ended.still_on == ()
    assert (ended.exit_code, ended.events[-1]["safe"]) == (4, True)
