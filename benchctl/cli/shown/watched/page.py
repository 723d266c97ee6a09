"""The live page beside a view: where it is served is told, and what went wrong with it at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

from benchctl.cli.options import Watching
from benchctl.cli.shown.views import View


@contextmanager
def page_for(view: View, stop: Callable[[], None], watching: Watching) -> Iterator[None]:
    """The live page of what the view sees, if it is asked for.

    Args:
        stop: what the page's button does.

    Raises:
        UsageError: it cannot be served there; nothing was touched.
    """
    if not watching.page:
        yield
        return
    # Only who asks for the page needs a web server.
    from benchctl.watch.page.admission import is_every, is_loopback  # noqa: PLC0415
    from benchctl.watch.page.server import Place, live_page  # noqa: PLC0415

    with live_page(view.seen.now, stop, Place(watching.address, watching.port)) as page:
        view.seen.changed = page.news
        view.say_first(f"Live page: {page.url}   (for a camera: {page.url}camera)")
        view.foot.append(f"page: {page.url}")
        if is_every(watching.address):
            view.say_first(f"In place of {watching.address} write an IP address of this computer.")
        if not is_loopback(watching.address):
            view.say_first(
                f"Warning: the live page is served at {watching.address}. Whoever can reach it and knows its address "
                "sees the run and can stop it. Nothing is encrypted: use it only in a network that you trust."
            )
        yield
    if page.trouble is not None:
        click.echo(f"Warning: there was an error in the live page: {page.trouble!r}", err=True)
