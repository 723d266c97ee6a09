"""Results of a campaign on disk, so that it can go on later: a file for each bench and amplifier, a line for a run."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

from benchmarks.coverage.campaign import Judged, Pair


class Kept:
    """The results in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def add(self, pair: Pair, seed: int, judged: Sequence[Judged]) -> None:
        """Keep the figures of one run."""
        line = json.dumps({"seed": seed, "figures": [asdict(figure) for figure in judged]})
        with self._file(pair).open("a", encoding="utf-8") as file:
            file.write(line + "\n")

    def of(self, pair: Pair) -> list[Judged]:
        """Every figure that is kept, in the order of seeds."""
        runs = sorted(self._runs(pair), key=lambda run: run[0])
        return [figure for _, judged in runs for figure in judged]

    def seeds(self, pair: Pair) -> set[int]:
        """The seeds that have been run."""
        return {seed for seed, _ in self._runs(pair)}

    def _runs(self, pair: Pair) -> Iterator[tuple[int, list[Judged]]]:
        file = self._file(pair)
        if not file.exists():
            return
        for line in file.read_text(encoding="utf-8").splitlines():
            told = json.loads(line)
            yield told["seed"], [Judged(**figure) for figure in told["figures"]]

    def _file(self, pair: Pair) -> Path:
        return self._folder / f"{Path(pair.bench).stem}-{pair.amplifier}.jsonl"
