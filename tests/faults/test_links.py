"""Links to instruments fail in the middle of a real run: everything is still off and reported in time."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchmarks.link_campaign.trial import Case, ProxiedBench, perform, proxied_bench
from tests.faults.proxy import FAULTS

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="whose a link is stands in /proc")

BY_NAME = {fault.name: fault for fault in FAULTS}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ProxiedBench]:
    """A bench behind proxies that is served while the tests of this file run."""
    with proxied_bench(tmp_path_factory.mktemp("bench")) as proxied:
        yield proxied


@pytest.mark.parametrize(
    "case",
    [
        Case("supply", BY_NAME["accepts and never answers"], "run", by_hand=True),
        Case("supply", BY_NAME["closes after an answer"], "run", by_hand=False),
        Case("generator", BY_NAME["accepts and never answers"], "all", by_hand=True),
    ],
    ids=str,
)
def test_whatever_becomes_of_the_links_to_one_instrument_the_three_times_are_kept(
    case: Case, bench: ProxiedBench, tmp_path: Path
) -> None:
    """Within 3 s of the trip all is off that can be; after 1 s red text names what is not confirmed; after 10 s the run
    is over."""
    assert perform(case, bench, tmp_path / "runs").faults == ()


def test_an_instrument_that_takes_one_client_lets_the_guardian_in(tmp_path: Path) -> None:
    """The run closes its link before the guardian connects."""
    case = Case("supply", BY_NAME["accepts and never answers"], "run", by_hand=True, one_client=True)
    with proxied_bench(tmp_path, one_client=True) as single:
        assert perform(case, single, tmp_path / "runs").faults == ()
