"""The look at a page sees what it is for: each of its answers once with a bad page, once with a good one."""

from __future__ import annotations

from pathlib import Path

from .visiting import WIDTHS, Visit

GOOD = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Good</title>
<meta name="viewport" content="width=device-width"></head>
<body><main><h1>A page</h1><p>with a line of text.</p></main></body></html>"""

BAD = """<!doctype html><html><head><meta charset="utf-8"><title>Bad</title></head><body>
<div style="width: 1000px">wide</div><img src="https://elsewhere.invalid/picture.png">
<p style="color: #ccc; background: #fff">hardly to be read</p><script>nothing.here()</script></body></html>"""


def test_a_page_in_order_gives_no_finding(visit: Visit, tmp_path: Path) -> None:
    (tmp_path / "good.html").write_text(GOOD, encoding="utf-8")
    visit.open(tmp_path / "good.html")
    assert (visit.complaints, visit.outside_requests(), visit.serious_findings(), visit.too_wide()) == ([], [], [], {})


def test_each_fault_of_a_page_is_found(visit: Visit, tmp_path: Path) -> None:
    (tmp_path / "bad.html").write_text(BAD, encoding="utf-8")
    visit.open(tmp_path / "bad.html")
    assert any("nothing is not defined" in each for each in visit.complaints)
    assert visit.outside_requests() == ["https://elsewhere.invalid/picture.png"]
    assert visit.outside_requests("elsewhere.invalid") == []
    found = {each.partition(":")[0] for each in visit.serious_findings()}
    assert {"html-has-lang", "image-alt", "color-contrast"} <= found
    assert list(visit.too_wide()) == [width for width in WIDTHS if width < 1000]
