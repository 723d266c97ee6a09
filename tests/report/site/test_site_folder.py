"""Nothing is written over or removed that publishing did not make."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchctl.errors import ArchiveError, UsageError
from benchctl.report.site.site_folder import MANIFEST, SiteFolder


@pytest.fixture
def runs(tmp_path: Path) -> Path:
    (tmp_path / "shop" / "runs").mkdir(parents=True)
    return tmp_path / "shop" / "runs"


@pytest.fixture
def site(tmp_path: Path, runs: Path) -> SiteFolder:
    """As a publication has left it: two files."""
    site = SiteFolder.open(tmp_path / "site", runs)
    site.claim(["index.html", "units/a/one.html"])
    site.write("index.html", b"index")
    site.write("units/a/one.html", b"one", "made from one")
    site.finish(["index.html", "units/a/one.html"])
    return SiteFolder.open(tmp_path / "site", runs)


@pytest.mark.parametrize("where", ["shop/runs", "shop/runs/site", "shop", ".", "shop/runs/../runs/x"])
def test_a_folder_among_the_runs_or_around_them_is_refused(tmp_path: Path, runs: Path, where: str) -> None:
    with pytest.raises(UsageError, match="folder of runs"):
        SiteFolder.open(tmp_path / where, runs)


def test_a_folder_with_anything_of_somebody_else_is_refused(tmp_path: Path, runs: Path) -> None:
    (tmp_path / "site").mkdir()
    SiteFolder.open(tmp_path / "site", runs)
    (tmp_path / "site" / "letter.txt").write_text("mine", encoding="utf-8")
    for out in ("site", "site/letter.txt"):
        with pytest.raises(UsageError, match="nothing is written into it"):
            SiteFolder.open(tmp_path / out, runs)


def test_a_file_of_somebody_else_in_the_place_of_a_page_is_refused_before_anything_is_written(site: SiteFolder) -> None:
    (site.path / "compare.html").write_text("mine", encoding="utf-8")
    before = (site.path / MANIFEST).read_bytes()
    with pytest.raises(UsageError, match=r"write over: compare\.html"):
        site.claim(["index.html", "compare.html"])
    assert (site.path / MANIFEST).read_bytes() == before


def test_other_files_of_somebody_else_stay_and_are_named(site: SiteFolder) -> None:
    (site.path / "units" / "CNAME").write_text("tests.example", encoding="utf-8")
    site.finish(["index.html"])
    assert list(site.foreign()) == ["units/CNAME"]
    assert not (site.path / "units" / "a").exists()


def test_what_is_made_no_more_is_removed_unless_somebody_has_changed_it(site: SiteFolder) -> None:
    (site.path / "index.html").write_text("changed by hand", encoding="utf-8")
    site.finish([])
    assert (site.removed, site.left) == (1, ["index.html"])
    assert (site.path / "index.html").read_text(encoding="utf-8") == "changed by hand"
    assert not (site.path / "units").exists()


def test_a_file_with_the_same_content_is_not_written_again(site: SiteFolder) -> None:
    site.write("index.html", b"index")
    assert site.written == 0
    site.write("index.html", b"other")
    assert site.written == 1


def test_a_page_is_current_while_it_is_there_and_made_from_the_same(site: SiteFolder) -> None:
    assert site.is_current("units/a/one.html", "made from one")
    assert not site.is_current("units/a/one.html", "made from another")
    (site.path / "units" / "a" / "one.html").unlink()
    assert not site.is_current("units/a/one.html", "made from one")


def test_a_publication_that_was_stopped_half_way_goes_on(site: SiteFolder, runs: Path) -> None:
    site.claim(["index.html", "two.html", "three.html"])
    (site.path / "two.html").write_bytes(b"two")  # written, and then the power failed
    again = SiteFolder.open(site.path, runs)
    again.claim(["index.html", "two.html", "three.html"])
    assert not again.is_current("two.html", "made from two")
    again.finish(["index.html"])
    assert sorted(path.name for path in site.path.iterdir()) == [MANIFEST, "index.html"]


def test_a_list_that_names_files_elsewhere_removes_none_of_them(site: SiteFolder, runs: Path) -> None:
    letter = runs.parent / "letter.txt"
    letter.write_text("mine", encoding="utf-8")
    files = {"../shop/letter.txt": ["", ""], str(letter): ["", ""], "index.html": ["", ""]}
    (site.path / MANIFEST).write_text(json.dumps({"benchctl_site": 1, "files": files}), encoding="utf-8")
    SiteFolder.open(site.path, runs).finish([])
    assert letter.read_text(encoding="utf-8") == "mine"


def test_a_list_that_cannot_be_read_is_said_and_nothing_is_touched(site: SiteFolder, runs: Path) -> None:
    (site.path / MANIFEST).write_text("[]", encoding="utf-8")
    with pytest.raises(ArchiveError, match="not the list of files"):
        SiteFolder.open(site.path, runs)
    assert (site.path / "index.html").is_file()


def test_a_folder_of_the_site_that_leads_elsewhere_is_not_written_into(site: SiteFolder, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (site.path / "linked").symlink_to(tmp_path / "elsewhere")
    site.claim(["linked/page.html"])
    with pytest.raises(ArchiveError, match="leads out of"):
        site.write("linked/page.html", b"page")
    assert not any((tmp_path / "elsewhere").iterdir())
