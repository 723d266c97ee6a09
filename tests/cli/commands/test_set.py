"""`--set` changes a declared parameter for one run, and refuses anything else in words."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchctl.cli.commands.preflight import preflight
from benchctl.errors import UsageError

SEQUENCE = """benchctl: sequence 1
title: With a parameter
parameters:
  wait: {unit: s, default: 10 s, highest: 1 h}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - hold: {for: {from: wait}}
"""


def invoke(folder: Path, *options: str) -> Result:
    path = folder / "sequence.yaml"
    path.write_text(SEQUENCE)
    arguments = [str(path), "-b", "workshop", "-a", "hx2150", "--json", *options]
    return CliRunner().invoke(preflight, arguments, standalone_mode=False)


def test_the_default_holds_unless_a_parameter_is_set(tmp_path: Path) -> None:
    assert '"duration_s": 10.0' in invoke(tmp_path).output
    assert '"duration_s": 1200.0' in invoke(tmp_path, "--set", "wait=20 min").output


@pytest.mark.parametrize("setting", ["wait=2 h", "weight=3 s", "wait=3"])
def test_what_cannot_be_set_is_an_error_of_use(tmp_path: Path, setting: str) -> None:
    assert isinstance(invoke(tmp_path, "--set", setting).exception, UsageError)


@pytest.mark.parametrize("setting", ["wait", "=3 s", "wait="])
def test_a_setting_without_name_or_value_is_refused(tmp_path: Path, setting: str) -> None:
    assert "sets nothing" in str(invoke(tmp_path, "--set", setting).exception)
