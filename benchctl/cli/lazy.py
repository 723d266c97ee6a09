"""A command group that imports a command only when it is run: `--help` need not wait for numpy."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any, NamedTuple

import click
from click.shell_completion import CompletionItem


class CommandEntry(NamedTuple):
    """Where a command is, as `module:attribute`, and what `--help` says of it without importing it."""

    where: str
    short_help: str


class LazyGroup(click.Group):
    """Commands by name; their short help stands in the table, and a test holds it against their own."""

    def __init__(self, *args: Any, entries: Mapping[str, CommandEntry], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.entries = dict(entries)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(self.entries)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        entry = self.entries.get(cmd_name)
        if entry is None:
            return None
        module, _, attribute = entry.where.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """The names of commands, and the group's own options; click's would import every command."""
        names = [CompletionItem(name, help=entry.short_help) for name, entry in self.entries.items()]
        own = click.Command.shell_complete(self, ctx, incomplete)
        return [*(name for name in names if name.value.startswith(incomplete)), *own]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.short_help) for name, entry in self.entries.items()])
