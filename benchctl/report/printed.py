"""Templates filled in: whatever comes from outside is escaped; pictures are markup of our own."""

from __future__ import annotations

from typing import Any

import jinja2


def printed(template: str, contents: dict[str, Any]) -> str:
    """The page that a template makes of its contents; what it lacks is a fault of the program, not a gap."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("benchctl.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(template).render(contents).lstrip()
