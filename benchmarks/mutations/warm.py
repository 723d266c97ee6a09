"""A process that has loaded the program already and runs tests in copies of itself.

Loading takes longer than most tests. Each copy loads again only what has changed and what imports it.

It reads one job for each line of its input, and answers with two lines: the copy's process, and how it ended.
"""

from __future__ import annotations

import ast
import gc
import importlib
import json
import os
import pkgutil
import sys
from collections.abc import Iterator, Mapping, Set
from pathlib import Path
from types import ModuleType
from typing import Any

import hypothesis  # noqa: F401 - for all copies
import pytest

import benchctl

# Without plugins that no test needs and each copy would load again. Hypothesis is loaded already; pytest warns of that.
_OPTIONS = (
    *("-x", "-q", "-p", "no:cacheprovider", "-p", "no:hypothesispytest", "-p", "no:xdist"),
    *("-W", "ignore:Module already imported:pytest.PytestAssertRewriteWarning"),
)


def main() -> None:
    """Serve until there are no more jobs."""
    for module in pkgutil.walk_packages(benchctl.__path__, "benchctl."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    imports = {name: set(_imported_by(module)) for name, module in _loaded().items()}
    gc.freeze()  # loaded objects stay, so that no copy has to scan them
    for line in sys.stdin:
        job = json.loads(line)
        pid = os.fork()
        if not pid:
            _run(job, imports)
        print(pid, flush=True)
        print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)


def _run(job: Mapping[str, Any], imports: Mapping[str, Set[str]]) -> None:
    """Run tests in this process, and end it."""
    os.setsid()  # so that what the tests have started ends with them
    said = os.open(job["said"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for descriptor, instead in ((0, os.open(os.devnull, os.O_RDONLY)), (1, said), (2, said)):
        os.dup2(instead, descriptor)
    _forget(job["module"], imports)
    code = pytest.main([*_OPTIONS, *job["tests"]])
    sys.stdout.flush()
    os._exit(code)


def _loaded() -> dict[str, ModuleType]:
    return {name: module for name, module in sys.modules.items() if name.startswith("benchctl.")}


def _forget(name: str, imports: Mapping[str, Set[str]]) -> None:
    """Unload a module and all that has imported it."""
    forgotten = {name}
    while more := {each for each, names in imports.items() if names & forgotten} - forgotten:
        forgotten |= more
    loaded = _loaded()
    for each in forgotten & loaded.keys():
        package, _, last = each.rpartition(".")
        vars(sys.modules[package] if package in sys.modules else loaded[package]).pop(last, None)
        del sys.modules[each]


def _imported_by(module: ModuleType) -> Iterator[str]:
    """The names of modules, and of possible modules, that a module imports."""
    for node in ast.walk(ast.parse(Path(module.__file__ or os.devnull).read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


if __name__ == "__main__":
    main()
