"""The feed of the newest runs, in Atom (RFC 4287): it needs the address at which the site will be."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from urllib.parse import quote, urlsplit
from xml.etree import ElementTree

from benchctl.errors import UsageError
from benchctl.report.site.units import RunPage

FEED = "feed.xml"
_ATOM = "http://www.w3.org/2005/Atom"
_MOST = 50


def address_of(url: str) -> str:
    """The address of a site, with a slash at its end.

    Raises:
        UsageError: it is not one that begins with http:// or https://, names a host and ends in a path.
    """
    try:
        parts = urlsplit(url)
        is_address = parts.scheme in {"http", "https"} and bool(parts.hostname) and parts.port != 0
    except ValueError:  # a port that is no number, a bracket that does not close
        is_address = False
    if not is_address or parts.query or parts.fragment or parts.username is not None or any(map(str.isspace, url)):
        raise UsageError(
            f"--url {url} is not the address of a site", advice="Give it whole, such as https://example.org/tests/"
        )
    return quote(url if url.endswith("/") else f"{url}/", safe="/:[]%~!$&'()*+,;=@")


def feed_of(runs: Sequence[RunPage], title: str, url: str) -> bytes:
    """The newest runs whose time is known; a feed says when each entry was last changed, and nothing is made up."""
    entries = sorted((run for run in runs if run.card.began), key=lambda run: run.card.updated, reverse=True)[:_MOST]
    feed = ElementTree.Element("feed", {"xmlns": _ATOM})
    _add(feed, "id", url)
    _add(feed, "title", title)
    _add(feed, "updated", entries[0].card.updated if entries else _NEVER)
    _add(feed, "link", rel="self", type="application/atom+xml", href=url + FEED)
    _add(feed, "link", rel="alternate", type="text/html", href=f"{url}index.html")
    _add(feed, "generator", "benchctl")
    for run in entries:
        _add_entry(feed, run, title, url)
    ElementTree.indent(feed)
    written: bytes = ElementTree.tostring(feed, encoding="utf-8", xml_declaration=True)
    return written + b"\n"


# An empty feed must say a time too (4.1.1): before any run.
_NEVER = "1970-01-01T00:00:00Z"


def _add_entry(feed: ElementTree.Element, run: RunPage, title: str, url: str) -> None:
    card, entry = run.card, ElementTree.SubElement(feed, "entry")
    _add(entry, "id", url + run.page)
    mark = f"{card.mark.capitalize()}: " if card.mark else ""
    _add(entry, "title", f"{mark}{card.unit}: {card.sequence}")
    _add(entry, "published", card.began)
    _add(entry, "updated", card.updated)
    author = ElementTree.SubElement(entry, "author")
    _add(author, "name", card.workshop or title)
    _add(entry, "link", rel="alternate", type="text/html", href=url + run.page)
    _add(entry, "summary", f"{_verdict(run)}. {card.headline}.")


def _verdict(run: RunPage) -> str:
    return ": ".join(filter(None, [run.card.verdict, run.card.remark]))


def _add(parent: ElementTree.Element, name: str, text: str = "", **attributes: str) -> None:
    element = ElementTree.SubElement(parent, name, attributes)
    if text:
        element.text = in_xml(text)


def in_xml(text: str) -> str:
    """`text` without what XML 1.0 cannot hold at all (2.2), such as most control characters."""
    return "".join(_allowed(text))


def _allowed(text: str) -> Iterable[str]:
    for character in text:
        code = ord(character)
        is_allowed = code in (0x9, 0xA, 0xD) or 0x20 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or code >= 0x10000
        yield character if is_allowed else "\N{REPLACEMENT CHARACTER}"
