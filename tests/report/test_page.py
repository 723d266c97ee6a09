"""The page of a run: well formed, escaped, whole, the same each time, and true to figures.csv."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.errors import ArchiveError, UsageError
from benchctl.report.page import report_page, write_report
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sections.verdicts import overall_of
from tests.report.conftest import Event, changed, killed, real, rewrite
from tests.report.pages import Page, exact_values, part, rows_of, words_of

HOSTILE = "<script>alert('x')</script> & \"quoted\" </style></title>"
YAML_OF_IT = HOSTILE.replace("'", "''")


def text_of(folder: Path) -> str:
    """Without pictures, which have tests of their own and take longer than all the rest."""
    return report_page(read_run_record(folder), Gallery((), ()))


def page_of(folder: Path) -> Page:
    return Page.of(text_of(folder))


@pytest.fixture(scope="module")
def page(whole: Path) -> Page:
    return page_of(whole)


# -- one file, well made -------------------------------------------------------------------------------------------


def test_a_strict_parser_finds_no_fault_and_no_script(page: Page) -> None:
    """Page.of raises at the first fault."""
    assert page.root.attrib["lang"] == "en"
    assert page.all("script") == []
    assert not any(name.startswith("on") for element in page.root.iter() for name in element.attrib)


def test_nothing_is_fetched_from_anywhere(whole: Path, page: Page) -> None:
    targets = [element.get(name, "") for element in page.root.iter() for name in ("src", "href")]
    assert [target for target in targets if target and not target.startswith(("#", "data:image/"))] == []
    assert page.all("link") == []
    assert "@import" not in text_of(whole)
    assert not re.search(r"url\((?!#)", text_of(whole))


def test_headings_go_down_one_level_at_a_time(page: Page) -> None:
    levels = [int(element.tag[1]) for element in page.root.iter() if re.fullmatch(r"h[1-6]", str(element.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_every_table_has_a_caption_and_heads_and_scrolls_by_itself(page: Page) -> None:
    tables = page.all("table")
    assert tables
    for table in tables:
        assert words_of(part(table, "caption"))
        assert all(head.get("scope") in {"col", "row"} for head in table.iter("th"))
        widths = {len(row) for row in table.iter("tr")}
        assert len(widths) == 1, words_of(part(table, "caption"))


# -- escaped -------------------------------------------------------------------------------------------------------


def test_text_of_a_users_files_is_shown_and_never_obeyed(folder: Path) -> None:
    titles = {
        "sequence": "Sample for a report",
        "amplifier": "HX 2150",
        "bench": "Bench 2 of the ferry-amplifier workshop",
    }
    for name, title in titles.items():
        file = folder / "inputs" / f"{name}.yaml"
        text = file.read_text(encoding="utf-8")
        assert f"title: {title}" in text
        file.write_text(text.replace(f"title: {title}", f"title: '{YAML_OF_IT}'"), encoding="utf-8")
    page = page_of(folder)
    assert page.all("script") == []
    assert words_of(part(page.root, "h1")) == " ".join(HOSTILE.split())
    assert page.text.count("<script>alert('x')</script>") >= 3


@pytest.mark.parametrize("kind", ["hands", "warnings accepted", "note", "run ended", "trip", "something new"])
def test_text_of_the_journal_is_shown_and_never_obeyed(folder: Path, kind: str) -> None:
    event = {"time_s": 1.0, "wall": "2026-01-01T08:00:01.000+00:00", "event": kind}
    said = dict.fromkeys(("reason", "request", "text", "step", "limit", "unit"), HOSTILE)
    lists = {"warnings": [HOSTILE], "answers": {HOSTILE: HOSTILE}, "exit_code": 5, "safe": False}
    part = {"instrument": HOSTILE, "part": HOSTILE, "confirmed": False, "detail": HOSTILE, "by_hand": HOSTILE}
    rewrite(folder, lambda events: [*events, event | said | lists | {"instruments": [part], "value": 1.0, "at_s": 1.0}])
    page = page_of(folder)
    assert page.all("script") == []
    assert "<script>" in page.text


# -- true ----------------------------------------------------------------------------------------------------------


def test_every_figure_of_the_table_is_on_the_page_with_its_exact_value(whole: Path, page: Page) -> None:
    table = read_figures(RunFolder.open(whole))
    assert len(table) > 50
    for step, rows in table.groupby("step"):
        shown = Counter(value for each in page.tables(f"{step}: ") for value in exact_values(each))
        assert Counter(rows["value"]) == shown, step


def test_a_value_is_rounded_to_what_its_uncertainty_supports(whole: Path, page: Page) -> None:
    table = read_figures(RunFolder.open(whole))
    (row,) = table[table["figure"] == "idle_current"].to_dict("records")
    _, shown, unit, requirement, source = page.row("3 measure_idle: ", "idle current")
    value, uncertainty = re.findall(r"\d+\.\d+", shown)
    places = len(value.partition(".")[2])
    assert len(uncertainty.partition(".")[2]) == places
    assert float(value) == round(row["value"], places)
    assert float(uncertainty) == round(row["expanded_uncertainty"], places)
    assert float(f"{row['expanded_uncertainty']:.1e}") == float(uncertainty), "two digits"
    assert shown.endswith(" passes")
    assert (unit, requirement) == ("A", "below 2.5 A")
    assert re.fullmatch(r"readings in journal event \d+", source)


def test_a_figure_names_the_capture_that_it_comes_from(whole: Path, page: Page) -> None:
    files = {path.name for path in (whole / "captures").iterdir()}
    sources = [cell for table in page.tables("5 measure_burst") for *_, cell in rows_of(table)]
    named = {source.removeprefix("captures/") for source in sources if source.startswith("captures/")}
    assert named
    assert named <= files


def test_the_rating_is_the_requirement_of_power_at_the_clean_level(page: Page) -> None:
    """The plate of hx2150.yaml: 150 W into 4 ohm."""
    assert "above 150 W, the rating" in page.row("7 measure_continuous: ", "continuous power")


# -- how it ended --------------------------------------------------------------------------------------------------


def test_a_dry_run_is_told_in_title_head_and_verdict(page: Page) -> None:
    assert (part(page.root, "title").text or "").startswith("DRY RUN: ")
    assert "Simulated figures are not measurements." in page.text
    assert "Fails (simulated)" in page.text


def test_a_real_run_says_nothing_of_simulation(folder: Path) -> None:
    page = page_of(real(folder))
    assert "imulat" not in page.text
    assert "DRY" not in (part(page.root, "title").text or "")


def test_one_verdict_that_fails_is_the_verdict_on_the_run(page: Page) -> None:
    """dc_offset of B is 9 mV and was to be within 8 mV."""
    assert "Fails (simulated) 4 verdicts pass, 1 fails." in page.text


def test_a_limit_that_tripped_is_told_with_its_words(folder: Path) -> None:
    reason = "supply_current is 96 A at 12.0 s; the limit: supply_current above 95 A (of the sequence file)"
    page = page_of(changed(folder, "run ended", reason=reason, exit_code=4))
    assert f"Stopped by a limit: {reason}." in page.text
    assert "4: a limit tripped" in page.text


def test_a_run_that_ended_early_has_no_verdict_though_all_pass(folder: Path) -> None:
    def only_what_passes(events: list[Event]) -> list[Event]:
        return [e | {"figures": [f for f in e.get("figures", ()) if f["verdict"] != "fails"]} for e in events]

    page = page_of(rewrite(killed(folder, "step finished", 3), only_what_passes))
    assert "No verdict (simulated) The run did not come to its end. 2 verdicts pass." in page.text
    assert "The journal does not say how the run ended" in page.text


def test_an_instrument_that_did_not_confirm_stands_in_red_with_what_to_do(folder: Path) -> None:
    part = {"instrument": "supply", "part": "output 'main' off", "confirmed": False, "detail": "no answer"}
    by_hand = "open the switch in the supply lead"
    page = page_of(changed(folder, "run ended", exit_code=5, safe=False, instruments=[part | {"by_hand": by_hand}]))
    (box,) = (each for each in page.all("section") if "fails" in each.get("class", ""))
    assert words_of(box).startswith("Not safe: ")
    assert (
        "supply: output 'main' off: not confirmed (no answer). By hand: open the switch in the supply lead."
        in words_of(box)
    )


def test_a_killed_real_run_says_that_nobody_knows_whether_the_bench_is_safe(folder: Path) -> None:
    assert "Nobody knows whether the bench is safe" in page_of(killed(real(folder))).text


def test_what_the_guardian_of_a_killed_run_did_is_told(folder: Path) -> None:
    (folder / "guardian.jsonl").write_text(
        '{"wall": "x", "event": "acting"}\n{"event": "safe", "instruments": []}\n{"ev'
    )
    page = page_of(killed(real(folder)))
    assert "The guardian made the bench safe, and every instrument confirmed it." in page.text
    assert "Nobody knows" not in page.text


def test_waived_warnings_are_told_with_the_reason_given(folder: Path) -> None:
    warned = {"time_s": 0.0, "wall": "2026-01-01T08:00:00.000+00:00", "event": "warnings accepted"}
    said = {"reason": "the fuse is a slow one", "warnings": ["86 A is more than the fuse's 80 A"]}
    page = page_of(rewrite(folder, lambda events: [*events[:1], warned | said, *events[1:]]))
    assert "Reason given: the fuse is a slow one" in page.text
    assert "86 A is more than the fuse's 80 A" in page.text


def test_a_step_that_lacks_figures_leaves_the_verdict_open_and_one_that_ended_early_is_told(folder: Path) -> None:
    label, early = "8 measure_response", "the drive ends after 8.78 min of 60 min"

    def unmeasured(events: list[dict[str, object]]) -> list[dict[str, object]]:
        place = next(n for n, e in enumerate(events) if (e["event"], e.get("step")) == ("step finished", label))
        events[place] |= {"no_figures": "the record is clipped", "ended_early": early}
        return [e | {"figures": []} if e["event"] == "figures" else e for e in events]

    page = page_of(rewrite(folder, unmeasured))
    assert "Inconclusive (simulated) 1 step lacks figures." in page.text
    assert f"{label}: the record is clipped" in page.text
    assert f"Drives that ended before their time {label}: {early}" in page.text


# -- what is missing -----------------------------------------------------------------------------------------------


def test_a_torn_last_line_is_told_and_the_page_has_all_else(folder: Path) -> None:
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes()[:-20])
    page = page_of(folder)
    assert "The journal's last line is torn" in page.text
    assert page.row("3 measure_idle: ", "idle current")


def test_a_journal_that_is_broken_in_its_middle_is_told_up_to_there(folder: Path) -> None:
    journal = folder / "journal.jsonl"
    lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    at = next(number for number, line in enumerate(lines) if "5 measure_burst" in line)
    journal.write_text("".join([*lines[:at], "no event\n", *lines[at + 1 :]]), encoding="utf-8")
    page = page_of(folder)
    assert f"journal.jsonl:{at + 1}: this line is not a journal event" in page.text
    assert page.row("3 measure_idle: ", "idle current")
    assert page.tables("5 measure_burst") == []


@pytest.mark.parametrize("name", ["sequence", "bench", "amplifier"])
def test_a_document_that_is_gone_is_told_and_the_figures_stay(folder: Path, name: str) -> None:
    (folder / "inputs" / f"{name}.yaml").unlink()
    page = page_of(folder)
    assert f"inputs/{name}.yaml cannot be read: it is not there" in page.text
    assert page.row("3 measure_idle: ", "idle current")


def test_a_bench_whose_own_driver_is_not_on_this_computer_is_read_all_the_same(folder: Path) -> None:
    file = folder / "inputs" / "bench.yaml"
    text = file.read_text(encoding="utf-8")
    assert "driver: supply/scpi99_watchdog" in text
    file.write_text(text.replace("driver: supply/scpi99_watchdog", "driver: my_own_supply.yaml"), encoding="utf-8")
    page = page_of(folder)
    assert "Missing from the run folder" not in page.text
    assert "my_own_supply.yaml" in page.row("Instruments", "supply")


def test_captures_trend_and_table_that_are_gone_are_told(folder: Path) -> None:
    for path in (*(folder / "captures").iterdir(), folder / "trend.csv", folder / "figures.csv"):
        path.unlink()
    text = page_of(folder).text
    for told in (
        "Captures that are not in the folder: captures/0001",
        "The trend cannot be read",
        "figures.csv is not",
    ):
        assert told in text


def test_an_empty_journal_still_makes_a_page(folder: Path) -> None:
    (folder / "journal.jsonl").write_bytes(b"")
    assert "The journal holds no event." in page_of(folder).text


def test_figures_that_somebody_broke_are_told(folder: Path) -> None:
    assert "Figures that cannot be read: journal event" in page_of(changed(folder, "figures", context=3)).text


# -- where it goes -------------------------------------------------------------------------------------------------


def test_the_page_is_written_whole_into_the_run_folder_the_same_each_time(folder: Path, tmp_path: Path) -> None:
    first = write_report(read_run_record(folder))
    assert first == folder / "report.html"
    assert not list(folder.glob("*.part"))
    text = first.read_text(encoding="utf-8")
    assert write_report(read_run_record(folder), tmp_path / "again.html").read_text(encoding="utf-8") == text
    assert len(Page.of(text).all("svg")) > 4


def test_a_folder_that_holds_no_run_is_an_error_in_words(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="is not a run folder"):
        read_run_record(tmp_path)


def test_a_page_that_cannot_be_written_is_an_error_in_words(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="cannot write"):
        write_report(read_run_record(folder), tmp_path / "gone" / "page.html")


# -- changed since -------------------------------------------------------------------------------------------------


def test_what_was_changed_after_the_run_stands_at_the_head_and_leaves_no_verdict(folder: Path) -> None:
    bench = folder / "inputs" / "bench.yaml"
    text = bench.read_text(encoding="utf-8")
    assert "{above: 110 A" in text
    bench.write_text(text.replace("{above: 110 A", "{above: 100000 A"), encoding="utf-8")
    page = page_of(folder)
    assert "Changed after the run wrote it" in page.text
    assert "inputs/bench.yaml was changed after the run began: line" in page.text
    assert page.text.index("Changed after the run wrote it") < page.text.index("What was held against a requirement")
    run_record = read_run_record(folder)
    assert overall_of(run_record, run_outcome_of(run_record)).word in {"No verdict", "Fails"}


def test_an_edited_line_of_the_journal_stands_at_the_head(folder: Path) -> None:
    journal = folder / "journal.jsonl"
    text = journal.read_text(encoding="utf-8")
    assert '"voltage_v": 14.4' in text
    journal.write_text(text.replace('"voltage_v": 14.4', '"voltage_v": 13.8', 1), encoding="utf-8")
    assert "this line was changed after it was written" in page_of(folder).text


def test_an_untouched_folder_has_no_such_boxes(folder: Path) -> None:
    text = page_of(folder).text
    assert "Changed after the run" not in text
    assert "Cannot be checked" not in text


@pytest.mark.parametrize(
    "line", ["[" * 5000, '{"event": "unsafe", "instruments": [1]}', '{"event": "unsafe", "instruments": 3}']
)
def test_lines_that_no_guardian_wrote_do_not_keep_the_page_from_being_made(folder: Path, line: str) -> None:
    (folder / "guardian.jsonl").write_text(line + "\n", encoding="utf-8")
    assert page_of(folder).all("h1")
