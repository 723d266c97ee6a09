"""A killed run with supplies that say "off" in other words: they are off, and it is confirmed in their own words."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl.instruments.safe_part import NO_QUESTION
from benchmarks.forms.supplies import FORMS
from benchmarks.forms.trials import bench_text
from tests.faults.killing import HOLDING, QUESTIONS, LiveRun, Question, ServedBench, live_run, served_bench, wait_for

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")

FORM = {form.speaks: form for form in FORMS}
# What an independent observer asks each supply, and what it answers where the output is on.
TOLD_BY: dict[str, dict[str, Question]] = {
    "zero_is_on": {
        "turn-on lead": ("supply", "OUTP:STAN? (@2)", "0"),
        "supply": ("supply", "OUTP:STAN? (@1)", "0"),
    },
    "old_words": {"turn-on lead": ("load", "ROUT:CLOS? (@113)"), "supply": ("supply", "STATUS?", "A")},
    "channel_list": {"turn-on lead": ("supply", "OUTP? (@2)"), "supply": ("supply", "OUTP? (@1)")},
}
UNASKABLE = "benchctl: driver 1\ntitle: Never says whether it is on\nbased_on: supply/channel_list\n"
UNASKABLE += "commands: {get_output: none}\n"


@contextmanager
def holding(speaks: str, amplifier: Path, folder: Path, driver: str = "") -> Iterator[tuple[ServedBench, LiveRun]]:
    """A run that drives its amplifier from this supply; `driver`: another driver file than the one for its form."""
    (folder / "mine.yaml").write_text(driver)
    text = bench_text(FORM[speaks])
    if driver:
        text = text.replace(FORM[speaks].driver, "./mine.yaml")
    (folder / "holding.yaml").write_text(HOLDING)
    with served_bench(folder, amplifier, text, {**QUESTIONS, **TOLD_BY[speaks]}) as bench:
        accept = ["--accept", "a test"] if driver or FORM[speaks].single else []
        with live_run(folder / "holding.yaml", bench.file, amplifier, folder / "runs", accept) as run:
            run.wait_for_event("step started", step="3 hold")
            assert bench.eyes.on() == {"generator", "turn-on lead", "supply", "load"}
            yield bench, run


@pytest.mark.parametrize("speaks", ["zero_is_on", "old_words"])
def test_what_means_on_and_off_is_as_the_driver_file_says_in_the_guardian_too(
    speaks: str, amplifier: Path, tmp_path: Path
) -> None:
    """A supply whose 0 means on; and one whose state is a bit of a byte, with no question of SCPI at all."""
    with holding(speaks, amplifier, tmp_path) as (bench, run):
        run.process.kill()
        wait_for(bench.eyes.everything_is_off, "everything off")
        (safe,) = wait_for(lambda: run.guardian_says("safe"), "the guardian's report")
        assert all(each["confirmed"] for each in safe["instruments"])


def test_a_supply_that_cannot_be_asked_is_off_and_said_to_be_unconfirmed(amplifier: Path, tmp_path: Path) -> None:
    with holding("channel_list", amplifier, tmp_path, UNASKABLE) as (bench, run):
        run.process.kill()
        wait_for(bench.eyes.everything_is_off, "everything off")
        last = wait_for(lambda: run.guardian_says("unsafe")[1:], "the guardian's last word, once it has tried again")[0]
        unconfirmed = {each["part"]: each["detail"] for each in last["instruments"] if not each["confirmed"]}
        assert unconfirmed == dict.fromkeys(("output 'remote' off", "output 'main' off"), NO_QUESTION)
