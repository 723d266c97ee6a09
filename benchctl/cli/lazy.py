"""A command group that imports a command only when it is run: `--help` need not wait for numpy."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any, NamedTuple

import click


class Place(NamedTuple):
    """Where a command is, as `module:attribute`, and what `--help` says of it without importing it."""

    where: str
    short_help: str


class LazyGroup(click.Group):
    """Commands by name; their short help stands in the table, and a test holds it against their own."""

    def __init__(self, *args: Any, places: Mapping[str, Place], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places = dict(places)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(self.places)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        place = self.places.get(cmd_name)
        if place is None:
            return None
        module, _, attribute = place.where.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, place.short_help) for name, place in self.places.items()])
