"""Unattended, safe power tests of vehicle audio power amplifiers over SCPI instruments, real or simulated.

For Python programs and notebooks: `open_run` and `open_runs` read run folders, `run` performs a sequence, and
`open_bench` gives the bench into your hands. docs/python.md describes them; what is not in `__all__` is private, except
the errors in `benchctl.errors`.
"""

from typing import TYPE_CHECKING

from benchctl import errors

__all__ = ["OpenedRun", "OpenedRuns", "RecordedCapture", "errors", "open_run", "open_runs", "run"]

if TYPE_CHECKING:
    from benchctl.python.captures import RecordedCapture
    from benchctl.python.opened_run import OpenedRun, open_run
    from benchctl.python.opened_runs import OpenedRuns, open_runs
    from benchctl.python.performing import run
else:
    # Each is loaded when it is first asked for: pandas and pyvisa take a second to import.
    _MODULES = {
        "OpenedRun": "opened_run",
        "OpenedRuns": "opened_runs",
        "RecordedCapture": "captures",
        "open_run": "opened_run",
        "open_runs": "opened_runs",
        "run": "performing",
    }

    def __getattr__(name):
        if name not in _MODULES:
            raise AttributeError(f"module 'benchctl' has no attribute '{name}'")
        from importlib import import_module  # noqa: PLC0415

        return getattr(import_module(f"benchctl.python.{_MODULES[name]}"), name)

    def __dir__():
        return sorted([*globals(), *_MODULES])
