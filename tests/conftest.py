"""For all tests. None is judged by a clock: however busy the computer is, hypothesis may take as long as it needs."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from contextlib import suppress
from importlib import import_module
from pathlib import Path

# Matrices are small here, and threads that wait for each other beside other workers take longer than one does.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

from tests.saloon_deck import SaloonDeck, shared_in
from tests.shared_runs import SharedRuns

gc.disable()  # until all tests are collected: next to nothing of what comes about until then is garbage

settings.register_profile("without a clock", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("without a clock")


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Where several processes collect the whole suite, each begins with other modules: pytest writes their assertions
    anew once in a checkout, which takes longer than all else, and the others find it done."""
    worker, workers = (
        os.environ.get("PYTEST_XDIST_WORKER", "gw0"),
        int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")),
    )
    if workers == 1 or session.config.args_source is not pytest.Config.ArgsSource.TESTPATHS:
        return
    modules = sorted(Path(__file__).parent.rglob("test_*.py"))
    first = len(modules) * int(worker.removeprefix("gw")) // workers
    for module in modules[first:] + modules[:first]:
        with suppress(Exception):  # what cannot be imported is told by the collection itself
            import_module(".".join(module.relative_to(session.config.rootpath).with_suffix("").parts))


# What takes longest begins first, so that no worker is left alone with it at the end; what computes beside what waits.
FIRST = (
    "sequences/test_shipped",
    "faults/test_killed",
    "faults/test_killed_guardians",
    "sequences/test_on_other_benches",
    "faults/test_links",
    "docs/test_commands",
    "runner/acting/test_terminals",
    "launch/test_real_time",
    "faults/test_killed_supplies",
    "faults/test_by_hand",
    "browser/test_live_page",
    "sequences/test_repair_faults",
    "launch/test_shipped_amplifiers",
    "faults/test_power_cycle",
    "launch/test_resume",
    "faults/test_contradictions",
    "cli/commands/test_new",
    "runner/steps/test_steps",
    "faults/test_campaign",
)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    places = {Path(__file__).parent / f"{name}.py": place for place, name in enumerate(FIRST)}
    items.sort(key=lambda item: places.get(item.path, len(FIRST)))


def pytest_collection_finish() -> None:
    """Thousands of tests stay in memory to the end; looking through them for garbage costs a twentieth of the time."""
    gc.freeze()
    gc.enable()
    gc.set_threshold(20_000, 20, 20)


@pytest.fixture(scope="session", autouse=True)
def no_index_in_the_users_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Whatever looks for runs keeps its index among the tests' own files."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BENCHCTL_CACHE", str(tmp_path_factory.mktemp("cache")))
        patch.delenv("BENCHCTL_RUNS", raising=False)
        yield


@pytest.fixture(scope="session")
def shared_runs(tmp_path_factory: pytest.TempPathFactory) -> SharedRuns:
    return SharedRuns(_of_the_session(tmp_path_factory) / "shared_runs")


@pytest.fixture(scope="session")
def deck(tmp_path_factory: pytest.TempPathFactory) -> SaloonDeck:
    """Three runs of an ordinary bench."""
    return shared_in(_of_the_session(tmp_path_factory) / "deck")


def _of_the_session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Each process of the tests has a folder of its own in the session's."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
