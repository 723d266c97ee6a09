"""The pages hold together: what they link to and name is there, and README stays a page that is read to its end."""

from __future__ import annotations

import re

import pytest

from tests.pages import PAGES, ROOT, links, slug, text_of
from tools.reference import markdown

TOP = "benchctl|docs|drivers|sequences|sim|tests|tools|runner|documents|instruments|guard|cli|simulator|launch"


def headings(page: str) -> list[str]:
    """Of the page, without lines that only look like headings within a block."""
    text = re.sub(r"```.*?```", "", text_of(page), flags=re.DOTALL)
    return re.findall(r"^#+ (.+)$", text, re.MULTILINE)


def target_of(page: str, link: str) -> tuple[str, str]:
    """The file that a link of the page leads to, from the top, and the heading within it."""
    file, _, anchor = link.partition("#")
    path = (ROOT / page).parent / file if file else ROOT / page
    return str(path.resolve().relative_to(ROOT)), anchor


@pytest.mark.parametrize("page", PAGES)
def test_what_a_page_links_to_is_there(page: str) -> None:
    missing = [link for link in links(page) if not (ROOT / target_of(page, link)[0]).exists()]
    assert missing == []


@pytest.mark.parametrize("page", PAGES)
def test_a_link_into_a_page_leads_to_a_heading_of_it(page: str) -> None:
    into = [target for target in (target_of(page, link) for link in links(page)) if target[1]]
    assert [each for each in into if each[1] not in map(slug, headings(each[0]))] == []


def test_the_generator_makes_links_as_the_pages_are_read() -> None:
    names = ("instruments.generator", "simulation.faults[]", "remote_turn_on", "The file", "benchctl new sequence")
    assert [markdown.slug(name) for name in names] == [slug(name) for name in names]


@pytest.mark.parametrize("page", PAGES)
def test_a_file_that_a_page_names_is_there(page: str) -> None:
    """Names in code, as far as they begin like a path of this repository."""
    named = re.findall(rf"`((?:{TOP})/[\w/.]+\.(?:py|yaml|svg))`", text_of(page))
    assert [name for name in named if not (ROOT / name).exists() and not (ROOT / "benchctl" / name).exists()] == []


def test_every_page_can_be_reached_from_readme() -> None:
    reached, ahead = set[str](), ["README.md"]
    while ahead:
        page = ahead.pop()
        reached.add(page)
        targets = (target_of(page, link)[0] for link in links(page))
        ahead += [target for target in targets if target.endswith(".md") and target not in reached]
    assert set(PAGES) - reached <= {"docs/README.md"}  # which is what a forge shows of the folder


def test_readme_is_short() -> None:
    assert len(text_of("README.md").splitlines()) <= 160
