"""A dry run with instruments that are slow, take one client, know little SCPI, or end their messages in other ways."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.archive.journal.journal import Event, read_journal
from benchctl.launch.run import Documents, Result, run
from benchmarks.nobody import Nobody
from tests.cli.files import TONE, bench, sequence, written

SIMULATION = "simulation:\n"


def peculiar_bench(folder: Path) -> Path:
    """Each instrument has other vices, and its driver file or its entry says how to deal with them."""
    folder.mkdir(parents=True, exist_ok=True)
    written(
        folder / "few_words.yaml",
        "benchctl: driver 1\ntitle: Few words\nbased_on: generator/scpi99\nscpi: no\nlink: {ends: CR}\n",
    )
    vices = """\
  instruments:
    generator: {ends: CR, identity: none, error_queue: no, lacks: ["*ESR?", "*RST", "*CLS", "STAT:PRES"]}
    oscilloscope: {identity: one field, busy_after_setting: 20 ms}
    load: {ends: none}
    supply: {answers_after: 50 ms, clients: one, free_again_after: 500 ms}
    thermometer: {echo: yes, acknowledge: OK, ends: CRLF, reset_takes: 5 s}
"""
    return bench(
        folder,
        ("driver: generator/scpi99\n", "driver: ./few_words\n"),
        ("driver: load/relay_bank\n", "driver: load/relay_bank\n    link: {ends: none, pause: 20 ms}\n"),
        ("driver: supply/scpi99_watchdog\n",
         "driver: supply/scpi99_watchdog\n    link: {clients: one, reopen_after: 500 ms}\n"),
        ("driver: thermometer/scpi99\n",
         "driver: thermometer/scpi99\n    link: {ends: CRLF, echo: yes, acknowledge: OK}\n"),
        (SIMULATION, SIMULATION + vices),
    )  # fmt: skip


def dry_run(bench_file: Path, folder: Path) -> Result:
    documents = Documents(sequence(folder, TONE), bench_file, "hx2150")
    return run(documents, Nobody(), out=folder, dry_run=True, accepted="nobody had the generator before")


def events(result: Result) -> list[Event]:
    return list(read_journal(result.folder / "journal.jsonl").events)


@pytest.fixture(scope="module")
def peculiar(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("peculiar")
    return dry_run(peculiar_bench(folder), folder)


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("usual")
    return dry_run(bench(folder), folder)


def test_it_finishes_and_leaves_the_bench_safe(peculiar: Result) -> None:
    assert peculiar.outcome.error is None
    last = events(peculiar)[-1]
    assert (last["event"], last["safe"], last["reason"]) == ("run ended", True, "finished")


def test_no_question_had_to_be_asked_twice(peculiar: Result) -> None:
    assert [event for event in events(peculiar) if event["event"] == "asked again"] == []


def test_the_waits_are_part_of_the_run_s_time(peculiar: Result, usual: Result) -> None:
    """Each of the supply's answers takes 50 ms, and the thermometer's reset 5 s."""
    slow_s, usual_s = (events(result)[-1]["time_s"] for result in (peculiar, usual))
    assert slow_s > usual_s + 5.0


def test_the_same_run_again_takes_the_same_time(peculiar: Result, tmp_path: Path) -> None:
    again = dry_run(peculiar_bench(tmp_path), tmp_path)
    times, times_again = ([event["time_s"] for event in events(result)] for result in (peculiar, again))
    assert times_again == times


def test_who_cannot_say_who_it_is_is_told_to_be_simulated_all_the_same(peculiar: Result) -> None:
    assert "generator" in peculiar.simulation.simulated
