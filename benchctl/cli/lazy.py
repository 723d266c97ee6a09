"""A command group that imports a command when it is asked for: `--help` need not wait for numpy."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import click


class LazyGroup(click.Group):
    """Commands by name as `module:attribute`."""

    def __init__(self, *args: Any, commands_by_name: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._places = dict(commands_by_name)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(self._places)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        place = self._places.get(cmd_name)
        if place is None:
            return None
        module, _, attribute = place.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command
