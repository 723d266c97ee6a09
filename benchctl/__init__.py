"""Unattended, safe power tests of vehicle audio power amplifiers over SCPI instruments, real or simulated.

For Python programs and notebooks: `open_run` and `open_runs` read run folders, `run` performs a sequence, and
`open_bench` gives the bench into your hands. Their page is docs/python.md; what is not in `__all__` is private.
"""

from typing import TYPE_CHECKING

from benchctl import errors

__all__ = [
    "Captures",
    "Conditions",
    "GeneratorAtBench",
    "LoadAtBench",
    "MultimeterAtBench",
    "OpenedBench",
    "OpenedRun",
    "OpenedRuns",
    "OscilloscopeAtBench",
    "RecordedCapture",
    "SupplyAtBench",
    "SupplyReading",
    "ThermometerAtBench",
    "WrittenNote",
    "errors",
    "open_bench",
    "open_run",
    "open_runs",
    "run",
]

if TYPE_CHECKING:
    from benchctl.measure.conditions import Conditions
    from benchctl.python.at_bench.opened_bench import OpenedBench, open_bench
    from benchctl.python.at_bench.roles import (
        GeneratorAtBench,
        LoadAtBench,
        MultimeterAtBench,
        OscilloscopeAtBench,
        SupplyAtBench,
        SupplyReading,
        ThermometerAtBench,
    )
    from benchctl.python.captures import Captures, RecordedCapture
    from benchctl.python.opened_run import OpenedRun, WrittenNote, open_run
    from benchctl.python.opened_runs import OpenedRuns, open_runs
    from benchctl.python.performing import run
else:
    # Each is loaded when it is first asked for: pandas and pyvisa take a second to import.
    _MODULES = {
        "Captures": "python.captures",
        "Conditions": "measure.conditions",
        "GeneratorAtBench": "python.at_bench.roles",
        "LoadAtBench": "python.at_bench.roles",
        "MultimeterAtBench": "python.at_bench.roles",
        "OpenedBench": "python.at_bench.opened_bench",
        "OpenedRun": "python.opened_run",
        "OpenedRuns": "python.opened_runs",
        "OscilloscopeAtBench": "python.at_bench.roles",
        "RecordedCapture": "python.captures",
        "SupplyAtBench": "python.at_bench.roles",
        "SupplyReading": "python.at_bench.roles",
        "ThermometerAtBench": "python.at_bench.roles",
        "WrittenNote": "python.opened_run",
        "open_bench": "python.at_bench.opened_bench",
        "open_run": "python.opened_run",
        "open_runs": "python.opened_runs",
        "run": "python.performing",
    }

    def __getattr__(name):
        if name not in _MODULES:
            raise AttributeError(f"module 'benchctl' has no attribute '{name}'")
        from importlib import import_module  # noqa: PLC0415

        return getattr(import_module(f"benchctl.{_MODULES[name]}"), name)

    def __dir__():
        return sorted({*globals(), *_MODULES})
