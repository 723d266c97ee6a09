"""Run folders as a workshop's are after years: units, dates, verdicts and endings drawn from a seed.

A few dry runs are the patterns. Each folder is one of them with another unit, another date and other values: journal
(with true hashes), figures.csv and trend.csv; there are no captures and no page. Some runs were stopped by a limit,
some were cut off, and a few folders are damaged, half written, or no runs at all.
"""

from __future__ import annotations

import csv
import io
import json
import random
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from benchctl.archive.folder import CAPTURES, INPUTS, slug
from benchctl.archive.journal.chain import FIELDS, sealed
from benchctl.launch.run import Documents, run
from benchmarks.nobody import Nobody

Fate = Literal["finished", "tripped", "cut off"]

# Sequence and amplifier of each pattern, and how often it is drawn.
PATTERNS: Mapping[tuple[str, str, str], int] = {
    ("quick_check", "workshop", "hx2150"): 40,
    ("quick_check", "workshop", "kx240"): 30,
    ("bench_check", "workshop", "hx2150"): 15,
    ("burst_and_continuous", "workshop", "hx2150"): 15,
}
FATES: Mapping[Fate, int] = {"finished": 96, "tripped": 3, "cut off": 1}
# Parts of all folders: a unit that is worse than its kind, a run that was simulated, a folder that is none.
WEAK, SIMULATED, SPOILT = 0.06, 0.1, 0.002
BEGIN = datetime(2023, 1, 9, 8, 0, tzinfo=UTC)
MINUTES_APART = 97
# What the instruments of this invented workshop answer to *IDN?.
MAKER = "Skerry Instruments"


@dataclass(frozen=True)
class Pattern:
    """A dry run that others are made from."""

    events: Sequence[Mapping[str, Any]]
    header: Sequence[str]
    figures: Sequence[Mapping[str, str]]
    trend: bytes

    @property
    def title(self) -> str:
        """Of sequence and amplifier, as in a folder's name."""
        text = str(self.events[1]["texts"]["sequence.yaml"])
        title = next(line.partition(": ")[2] for line in text.splitlines() if line.startswith("title: "))
        return f"{slug(title)}-{slug(self.events[0]['amplifier'])}"


def patterns(scratch: Path) -> list[Pattern]:
    """The dry runs, made in `scratch`."""
    return [
        pattern_of(run(Documents(sequence, bench, amplifier), Nobody(), out=scratch, dry_run=True).folder)
        for sequence, bench, amplifier in PATTERNS
    ]


def pattern_of(folder: Path) -> Pattern:
    """A finished dry run as a pattern."""
    events = [json.loads(line) for line in (folder / "journal.jsonl").read_text("utf-8").splitlines()]
    table = csv.DictReader((folder / "figures.csv").read_text("utf-8").splitlines())
    return Pattern(events, list(table.fieldnames or ()), list(table), (folder / "trend.csv").read_bytes())


def fill(root: Path, from_patterns: Sequence[Pattern], count: int, seed: int = 1) -> Iterator[Path]:
    """Make `count` folders in `root`; yields each."""
    drawn = random.Random(seed)
    root.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        began = BEGIN + timedelta(minutes=MINUTES_APART * number)
        pattern = drawn.choices(from_patterns, list(PATTERNS.values())[: len(from_patterns)])[0]
        folder = root / f"{began:%Y%m%d-%H%M%S}-{pattern.title}"
        if drawn.random() < SPOILT:
            _spoilt(folder, drawn)
        else:
            _write(folder, pattern, began, drawn)
        yield folder


def _write(folder: Path, pattern: Pattern, began: datetime, drawn: random.Random) -> None:
    (folder / INPUTS).mkdir(parents=True)
    (folder / CAPTURES).mkdir()
    fate = drawn.choices(list(FATES), list(FATES.values()))[0]
    serial = f"{slug(pattern.events[0]['amplifier']).replace('-', '').upper()}-{drawn.randrange(1, 250):04d}"
    factor, is_weak = drawn.gauss(1.0, 0.02), drawn.random() < WEAK
    events = deepcopy([dict(event) for event in pattern.events])
    _began(events[0], folder.name, serial, is_simulated=drawn.random() < SIMULATED)
    _varied(events, 0.8 * factor if is_weak else factor, is_weak=is_weak)
    _ended(events, fate, is_weak=is_weak)
    (folder / "journal.jsonl").write_bytes(b"".join(_lines(events, began)))
    if fate == "cut off":
        (folder / "trend.csv.part").write_bytes(pattern.trend)
        return
    (folder / "figures.csv").write_text(_table(pattern, events), encoding="utf-8")
    (folder / "trend.csv").write_bytes(pattern.trend)


def _began(event: dict[str, Any], name: str, serial: str, *, is_simulated: bool) -> None:
    event |= {"run": name, "serial": serial, "dry_run": is_simulated}
    if not is_simulated:
        models = {role: f"{MAKER},{role.title()} 4,SK0{len(role)}17,2.1" for role in event["instruments"]}
        event |= {"simulated": [], "seed": None, "instruments": models}


def _varied(events: Sequence[dict[str, Any]], factor: float, *, is_weak: bool) -> None:
    for figure in (figure for event in events for figure in event.get("figures", ())):
        if figure["unit"] != "W" or "idle" in figure["name"]:
            continue
        figure["value"] = float(f"{figure['value'] * factor:.10g}")
        if is_weak and figure["verdict"]:
            figure["verdict"] = "fails"


def _ended(events: list[dict[str, Any]], fate: Fate, *, is_weak: bool) -> None:
    verdicts = {figure["verdict"] for event in events for figure in event.get("figures", ())}
    if fate == "cut off":
        del events[-5:]
    elif fate == "tripped":
        events[-1] |= {"reason": "heatsink: 86.2 degC is above 85 degC", "exit_code": 4}
    elif is_weak:
        events[-1]["exit_code"] = int("fails" in verdicts)


def _lines(events: Sequence[Mapping[str, Any]], began: datetime) -> Iterator[bytes]:
    before = ""
    for event in events:
        wall = (began + timedelta(seconds=event["time_s"])).isoformat(timespec="milliseconds")
        body = {name: value for name, value in event.items() if name not in FIELDS} | {"wall": wall}
        line, before = sealed(json.dumps(body, ensure_ascii=False).encode(), before)
        yield line + b"\n"


def _table(pattern: Pattern, events: Sequence[Mapping[str, Any]]) -> str:
    """The pattern's table with the values and the identity of this run."""
    figures = [figure for event in events for figure in event.get("figures", ())]
    began, text = events[0], io.StringIO(newline="")
    identity = {"run": began["run"], "serial": began["serial"], "simulated": str(began["dry_run"]).lower()}
    writer = csv.DictWriter(text, pattern.header, lineterminator="\n")
    writer.writeheader()
    for row, figure in zip(pattern.figures, figures, strict=True):
        writer.writerow({**row, **identity, "value": repr(figure["value"]), "verdict": figure["verdict"]})
    return text.getvalue()


def _spoilt(folder: Path, drawn: random.Random) -> None:
    """Half written, damaged, or a folder of something else."""
    folder.mkdir()
    match drawn.randrange(3):
        case 0:
            (folder / INPUTS).mkdir()
            (folder / CAPTURES).mkdir()
        case 1:
            (folder / "journal.jsonl").write_bytes(drawn.randbytes(4000))
        case _:
            (folder / "front panel.jpg").write_bytes(drawn.randbytes(400))
