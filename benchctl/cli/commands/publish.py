"""benchctl publish: all runs of a folder as a site to put on any web space."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from benchctl.cli.options import json_option, spread_options


@click.command(
    epilog="""\b
Examples:
  benchctl publish runs --out site
  benchctl publish runs --out site --url https://example.org/tests/ --title "Amplifiers of the ferry workshop\""""
)
@click.argument("folder", type=click.Path(path_type=Path), metavar="FOLDER")
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="The folder of the site; not within FOLDER."
)
@click.option("--url", default="", metavar="ADDRESS", help="Where the site will be on the web; makes a feed, too.")
@click.option("--title", default="Tests of amplifiers", show_default=True, help="What the collection is called.")
@click.option("--with-simulated", is_flag=True, help="Simulated runs as well; each is marked on every page.")
@click.option(
    "--with-owner",
    is_flag=True,
    help="Name owner, contact, reference and tester on the pages of runs. Do not publish such a site.",
)
@spread_options
@json_option
def publish(  # noqa: PLR0917 - one for each argument and option
    folder: Path,
    out: Path,
    url: str,
    title: str,
    with_simulated: bool,
    with_owner: bool,
    workers: int | None,
    scheduler: str,
    as_json: bool,
) -> int:
    """Make a site of all runs below a folder.

    The site needs no server: it can be put on any web space, and opens from a folder too. It has a list of all runs
    with search and sorting, a page for each amplifier by its serial number, the page of each run with its table of
    figures, and a comparison of chosen amplifiers. Given again, the command makes only what has changed, and removes
    the pages of runs that are gone. It touches no file that it did not make.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.published import lines_of, telling  # noqa: PLC0415
    from benchctl.report.site.publishing import Settings  # noqa: PLC0415
    from benchctl.report.site.publishing import publish as make  # noqa: PLC0415
    from benchctl.spread.choosing import spread_over  # noqa: PLC0415

    settings = Settings(title, url, with_simulated=with_simulated, with_owner=with_owner)
    with spread_over(workers, scheduler) as spread, telling() as tell:
        published = make(folder, out, settings, tell, spread)
    if as_json:
        click.echo(json.dumps(asdict(published) | {"index": str(published.index)}, indent=2))
    else:
        click.echo("\n".join(lines_of(published)))
    return 0
