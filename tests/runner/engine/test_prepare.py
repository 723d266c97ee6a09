"""What a run finds on the bench before it begins, and what it makes of it."""

from __future__ import annotations

from pathlib import Path

from tests.runner.rig import rig


def test_an_error_that_the_last_user_left_in_a_queue_does_not_end_the_run(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.simulated.devices["generator"].report(-213, "left by somebody else")
        assert bench.execute().error is None
