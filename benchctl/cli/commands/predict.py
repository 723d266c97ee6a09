"""benchctl predict: what an amplifier would do in a load that its run did not measure."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click

from benchctl.cli.options import json_option, of_run_folder
from benchctl.quantity import QuantityError, parse_quantity


class _Quantity(click.ParamType[float]):
    """A quantity written with its unit."""

    def __init__(self, unit: str) -> None:
        self.name = self._unit = unit

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        try:
            found = parse_quantity(str(value), self._unit)
        except QuantityError as error:
            self.fail(str(error), param, ctx)
        if not found > 0.0:
            self.fail("it must be more than 0", param, ctx)
        return found


@click.command(
    epilog="""\b
Examples:
  benchctl predict latest --load 2ohm
  benchctl predict latest --load 2ohm --supply 13.8V --burst 20
  benchctl predict latest --load 2ohm --without 2ohm"""
)
@of_run_folder()
@click.option("--load", "loads", type=_Quantity("ohm"), multiple=True, required=True, help="Load at each channel.")
@click.option("--supply", type=_Quantity("V"), help="Supply voltage; the amplifier's nominal one, unless given.")
@click.option(
    "--burst",
    "bursts",
    type=click.IntRange(min=1, max=200),
    multiple=True,
    metavar="CYCLES",
    help="Also the power of a burst of so many cycles.",
)
@click.option(
    "--without",
    type=_Quantity("ohm"),
    help="Leave this load out of the fit; where it is predicted, what was measured stands beside it.",
)
@json_option
def predict(
    run_folder: Path,
    loads: tuple[float, ...],
    supply: float | None,
    bursts: tuple[int, ...],
    without: float | None,
    *,
    as_json: bool,
) -> int:
    """Predict power, supply current and efficiency in another load.

    A model of the amplifier is fitted to the run, as `benchctl fit` does. Each figure has its uncertainty (k = 2). What
    lies outside of what the model carries is refused with the reason. A predicted value is no measurement: a protection
    may act earlier.

    Exit code 1: something was refused.
    """
    # Its matrices are small, and threads that wait for each other on a busy computer take longer than one does.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.prediction import as_data, in_words  # noqa: PLC0415
    from benchctl.fit.prediction.asking import ask  # noqa: PLC0415

    found, shown = ask(run_folder, loads, supply, bursts, without)
    click.echo(json.dumps(as_data(found, shown), indent=2) if as_json else in_words(found, shown))
    return 1 if any(prediction.refused for prediction, _ in shown) else 0
