"""benchctl schema: what an editor needs to complete and check a document while it is typed."""

from __future__ import annotations

import json

import click

from benchctl.documents.schema import KINDS, schema_of


@click.command(epilog="Example:  benchctl schema sequence")
@click.argument("kind", type=click.Choice(KINDS), metavar="KIND")
def schema(kind: str) -> int:
    """Print the JSON Schema of a kind of document.

    KIND is sequence, bench, amplifier or driver. Keep what is printed in a file such as sequence.schema.json; an editor
    with a YAML language server then completes and checks a document whose first line is, for example,
    "# yaml-language-server: $schema=sequence.schema.json".
    """
    click.echo(json.dumps(schema_of(next(known for known in KINDS if known == kind)), indent=2))
    return 0
