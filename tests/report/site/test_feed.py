"""The feed is one that any reader takes: RFC 4287, read by an XML parser."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from urllib.parse import urlsplit
from xml.etree import ElementTree

import pytest

from benchctl.errors import UsageError
from benchctl.report.site.feed import address_of, feed_of
from benchctl.report.site.units import RunPage
from tests.report.site.cards import CARD

ATOM = "{http://www.w3.org/2005/Atom}"


def page(number: int, **changes: str) -> RunPage:
    return RunPage(replace(CARD, **changes), f"runs/{number}", f"run-{number}", "hx-2150-17")  # type: ignore[arg-type]


def elements(parent: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return parent.findall(f"{ATOM}{name}")


def the(parent: ElementTree.Element, name: str) -> str:
    (found,) = elements(parent, name)
    assert found.text
    return found.text


@pytest.fixture
def feed() -> ElementTree.Element:
    runs = [page(1), page(2, updated="2026-04-01T00:00:00Z", mark="simulated"), page(3, began="", updated="")]
    return ElementTree.fromstring(feed_of(runs, "Ferry \x0bamplifiers", "https://tests.example/a/"))


def test_it_has_all_that_the_standard_requires(feed: ElementTree.Element) -> None:
    """RFC 4287, 4.1.1 and 4.1.2: exactly one id, title and updated; an author wherever the feed has none; links by
    4.2.7.2, of which an entry without content has an alternate; times by 3.3; ids that are IRIs by 4.2.6."""
    assert feed.tag == f"{ATOM}feed"
    entries = elements(feed, "entry")
    assert len(entries) == 2
    for each in (feed, *entries):
        assert urlsplit(the(each, "id")).scheme == "https"
        assert the(each, "title")
        assert datetime.fromisoformat(the(each, "updated")).tzinfo is not None
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", the(each, "updated"))
        links = {link.attrib["rel"]: link.attrib["href"] for link in elements(each, "link")}
        assert all(urlsplit(href).netloc == "tests.example" for href in links.values())
        assert "alternate" in links
    assert {link.attrib["rel"] for link in elements(feed, "link")} == {"self", "alternate"}
    assert all(the(elements(entry, "author")[0], "name") == "Eastharbour Audio Repairs" for entry in entries)
    assert len({the(entry, "id") for entry in entries}) == len(entries)


def test_the_newest_comes_first_and_a_run_without_a_time_does_not_come(feed: ElementTree.Element) -> None:
    """A time that is not known is not made up, and a feed needs one."""
    first, second = elements(feed, "entry")
    assert the(feed, "updated") == the(first, "updated") == "2026-04-01T00:00:00Z"
    assert the(second, "id") == "https://tests.example/a/units/hx-2150-17/run-1.html"


def test_it_says_what_was_found_and_what_was_no_measurement(feed: ElementTree.Element) -> None:
    first, second = elements(feed, "entry")
    assert the(first, "title") == "Simulated: HX <2150> & more, serial 17: Quick check"
    assert the(second, "summary") == "Passes. 159 W a channel into 4 ohm."


def test_a_character_that_no_feed_can_hold_does_not_break_it(feed: ElementTree.Element) -> None:
    assert the(feed, "title") == "Ferry \N{REPLACEMENT CHARACTER}amplifiers"


@pytest.mark.parametrize(
    "url",
    [
        "tests.example",
        "ftp://tests.example/",
        "https://",
        "https://a b/",
        "https://x/?q=1",
        "https://u:p@x/",
        "https://x:99999/",
        "javascript:alert(1)",
        "https://[x/",
    ],
)
def test_an_address_that_is_none_is_refused(url: str) -> None:
    with pytest.raises(UsageError, match="is not the address of a site"):
        address_of(url)


def test_an_address_ends_in_a_slash() -> None:
    assert address_of("https://tests.example") == "https://tests.example/"
    assert address_of("http://tests.example:8000/a/") == "http://tests.example:8000/a/"
    assert address_of("https://tests.example/Prüfungen") == "https://tests.example/Pr%C3%BCfungen/"
