"""How long switching off takes once the run's process is killed: what the links need, added up and told."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_bench
from benchctl.runner.checks.time_to_safe import hazards_of, notes_of, times_to_off_s
from tests.runner.rig import Edits, shipped

SUPPLY = "driver: supply/scpi99_watchdog"


def bench(folder: Path, edits: Edits | None = None, **drivers: str) -> Bench:
    """The workshop's bench; `drivers`: role -> what its driver file says of the link and more."""
    changes = dict(edits or {})
    shipped_as = {"supply": SUPPLY, "generator": "driver: generator/scpi99", "load": "driver: load/relay_bank"}
    for role, words in drivers.items():
        base = "supply/channel_list" if role == "supply" else shipped_as[role].removeprefix("driver: ")
        kind = {"load": "kind: relay bank\n"}.get(role, "")
        text = f"benchctl: driver 1\nrole: {role}\ntitle: Mine\n{kind}based_on: {base}\n{words}\n"
        (folder / f"{role}.yaml").write_text(text)
        changes[shipped_as[role]] = f"driver: ./{role}.yaml"
    (folder / "bench.yaml").write_text(shipped("benches", "workshop", changes))
    return load_bench(folder / "bench.yaml")


def test_links_that_need_nothing_are_off_at_once_and_nothing_is_told(tmp_path: Path) -> None:
    found = bench(tmp_path)
    assert set(times_to_off_s(found).values()) == {0.0}
    assert list(notes_of(found)) == []


def test_a_link_that_is_free_only_later_and_pauses_between_messages_add_up(tmp_path: Path) -> None:
    """The lead's output and the main one: two messages, one pause between them."""
    found = bench(tmp_path, supply="link: {clients: one, reopen_after: 1 s, pause: 50 ms}")
    assert times_to_off_s(found)["supply"] == pytest.approx(1.05)
    (note,) = notes_of(found)
    assert "the supply about 1.1 s" in note or "the supply about 1 s" in note


def test_quiet_after_a_message_delays_the_next_one_only(tmp_path: Path) -> None:
    off = 'commands: {output_off: {send: "OUTP OFF,(@{output})", settle: 2 s}}'
    assert times_to_off_s(bench(tmp_path, supply=off))["supply"] == pytest.approx(2.0)


def test_a_serial_line_takes_ten_bits_a_letter(tmp_path: Path) -> None:
    """`OUTP OFF,(@2)` and its line end are 14 letters, twice, at 100 letters a second."""
    at_port = {"TCPIP::127.0.0.1::15024::SOCKET": "ASRL/dev/ttyUSB0::INSTR"}
    found = bench(tmp_path, at_port, supply="link: {baud: 1000}")
    assert times_to_off_s(found)["supply"] == pytest.approx(0.28)


def test_where_nobody_is_present_one_part_must_be_off_in_time(tmp_path: Path) -> None:
    late = "link: {clients: one, reopen_after: 2 s}"
    one_late = bench(tmp_path, supply=late)
    assert list(hazards_of(one_late, unattended=True)) == []
    all_late = bench(tmp_path, supply=late, generator=late, load=late)
    (hazard,) = hazards_of(all_late, unattended=True)
    assert "no part of the bench is off within 1 s" in hazard
    assert list(hazards_of(all_late, unattended=False)) == []
