"""trend.csv: what the guard read, kept whether the run ends or is killed."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, suppress

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.trend import Trend, read_trend
from benchctl.errors import ArchiveError


@pytest.fixture
def trend(folder: RunFolder) -> Iterator[Trend]:
    trend = Trend(folder)
    yield trend
    with suppress(ArchiveError):  # a test may have taken the folder away
        trend.finish()


def test_a_sample_is_a_row_in_base_units_and_the_unreadable_is_empty(folder: RunFolder, trend: Trend) -> None:
    trend.append(0.0, {"supply_voltage": 14.4, "supply_current": 1.25, "heatsink": 25.0, "load": None})
    trend.append(0.2, {"supply_voltage": 14.4, "supply_current": None})
    trend.append(0.4, {"supply_voltage": math.nan, "supply_current": math.inf, "load": 30.1})
    trend.finish()
    assert folder.trend.read_bytes() == (
        b"time_s,supply_voltage_v,supply_current_a,heatsink_c,load_c\n0.0,14.4,1.25,25.0,\n0.2,14.4,,,\n0.4,,,,30.1\n"
    )


def test_the_file_has_its_name_only_when_it_is_finished(folder: RunFolder, trend: Trend) -> None:
    trend.append(0.0, {"supply_voltage": 14.4})
    assert not folder.trend.exists()
    trend.finish()
    trend.finish()
    assert folder.trend.exists()
    assert not list(folder.path.glob("*.part"))


def test_a_killed_run_keeps_its_samples(folder: RunFolder, trend: Trend) -> None:
    """The process that is killed gets to write nothing after the sample."""
    trend.append(0.0, {"supply_voltage": 14.4, "heatsink": 25.0})
    trend.append(0.2, {"supply_voltage": 14.3})
    table = read_trend(folder)
    assert table["supply_voltage_v"].tolist() == [14.4, 14.3]
    assert math.isnan(table["heatsink_c"].iloc[1])


@pytest.mark.parametrize("torn", ["", "0.4,14.", "0.4"])
def test_a_run_that_is_resumed_goes_on_after_the_last_whole_row(folder: RunFolder, trend: Trend, torn: str) -> None:
    (folder.path / "trend.csv.part").write_text(
        "time_s,supply_voltage_v,supply_current_a,heatsink_c\n0.2,14.4,,\n" + torn, encoding="utf-8"
    )
    trend.append(60.0, {"supply_voltage": 14.2, "heatsink": 31.0})
    trend.finish()
    assert folder.trend.read_text("utf-8").splitlines()[1:] == ["0.2,14.4,,", "60.0,14.2,,31.0"]


def test_a_run_that_is_resumed_after_a_clean_end_goes_on_likewise(folder: RunFolder, trend: Trend) -> None:
    first = Trend(folder)
    first.append(0.0, {"supply_voltage": 14.4})
    first.finish()
    trend.append(60.0, {"supply_voltage": 14.2})
    trend.finish()
    assert read_trend(folder)["time_s"].tolist() == [0.0, 60.0]


def test_a_temperature_that_is_first_read_later_gets_a_column_of_its_own(folder: RunFolder, trend: Trend) -> None:
    trend.append(0.0, {"supply_voltage": 14.4})
    trend.append(0.2, {"supply_voltage": 14.4, "ambient": 21.5})
    trend.finish()
    assert folder.trend.read_text("utf-8").splitlines() == [
        "time_s,supply_voltage_v,supply_current_a,ambient_c",
        "0.0,14.4,,",
        "0.2,14.4,,21.5",
    ]


def test_a_run_without_samples_has_a_trend_without_rows(folder: RunFolder, trend: Trend) -> None:
    trend.finish()
    assert read_trend(folder).empty
    assert folder.trend.read_text("utf-8") == "time_s,supply_voltage_v,supply_current_a\n"


def test_a_sample_after_the_end_is_an_error(trend: Trend) -> None:
    trend.finish()
    with pytest.raises(ArchiveError, match="is finished"):
        trend.append(1.0, {})


def test_running_out_of_room_is_an_error(
    trend: Trend, out_of_room: Callable[[int], AbstractContextManager[None]]
) -> None:
    trend.append(0.0, {"supply_voltage": 14.4})
    with out_of_room(10), pytest.raises(ArchiveError, match="the disk is full"):
        trend.append(0.2, {"supply_voltage": 14.4})


def test_a_folder_deleted_under_the_trend_is_told_at_the_end(folder: RunFolder, trend: Trend) -> None:
    trend.append(0.0, {"supply_voltage": 14.4})
    shutil.rmtree(folder.path)
    with pytest.raises(ArchiveError, match="is gone"):
        trend.finish()


def test_what_is_no_trend_is_an_archive_error(folder: RunFolder) -> None:
    with pytest.raises(ArchiveError, match="cannot read"):
        read_trend(folder)
    folder.trend.write_text("time_s\n0.0,1.0,x\n")
    with pytest.raises(ArchiveError, match="is not a trend"):
        read_trend(folder)
