"""All that runs tell of one bench: its series, its calibrations, and the runs that tell nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.drift.calibrated import Recalibrated, in_order
from benchctl.archive.drift.reading import read_run
from benchctl.archive.drift.series import Series, series_of
from benchctl.errors import UsageError


@dataclass(frozen=True)
class BenchLife:
    """`standard`: serial number of the amplifier that is kept as a check standard, or empty.

    `overdue`: what should have been calibrated again by the newest run. `left_out`: sentences on runs that do not
    count; `has_simulated`: whether simulated runs are among those that do.
    """

    bench: str
    standard: str
    runs: int
    first: datetime
    last: datetime
    series: tuple[Series, ...]
    calibrated: tuple[Recalibrated, ...]
    overdue: tuple[str, ...]
    left_out: tuple[str, ...]
    has_simulated: bool

    @property
    def alarms(self) -> list[Series]:
        """Series with a lasting change that matters, in the present phase."""
        return [each for each in self.series if each.present.is_alarm]

    @property
    def lone(self) -> list[Series]:
        """Series with one value outside by an amount that matters."""
        return [each for each in self.series if each.present.judged.state == "one outside" and each.present.matters]

    @property
    def passing(self) -> list[Series]:
        """Series with a change that mattered and has gone again."""
        present = [(each, each.present) for each in self.series]
        return [each for each, now in present if now.judged.state == "changed" and now.matters and not now.is_alarm]

    @property
    def judged(self) -> list[Series]:
        """Series with enough values."""
        return [each for each in self.series if each.present.judged.limits is not None]


def bench_life(
    summaries: Sequence[RunSummary], bench: str = "", standard: str = "", *, with_simulated: bool = False
) -> BenchLife:
    """The life of the bench whose title is `bench` or contains it; of the only one there is, if that is empty.

    Raises:
        UsageError: no run, or runs of several benches, fit.
    """
    counting = [each for each in summaries if with_simulated or each.is_simulated is False]
    title = _title(counting, bench, len(summaries) - len(counting))
    own = sorted((each for each in counting if each.bench == title), key=_moment)
    read = [read_run(each, standard) for each in own]
    values = [value for each in read for value in each.values]
    told = [each.began for each in own if each.began is not None]
    if not told:
        raise UsageError(f"no run of the bench {title!r} says when it was made")
    simulated = sum(each.bench == title and each not in counting for each in summaries)
    return BenchLife(
        bench=title,
        standard=standard,
        runs=len(own),
        first=min(told),
        last=max(told),
        series=tuple(series_of(values)),
        calibrated=tuple(in_order([value for each in read for value in each.calibrated])),
        overdue=read[-1].overdue,
        left_out=tuple(_left_out([(each.run, each.why_not) for each in read], simulated)),
        has_simulated=any(each.is_simulated is not False for each in own),
    )


def _moment(summary: RunSummary) -> tuple[bool, str, str]:
    """Runs in the order of time; those of an unknown day first."""
    return summary.began is not None, summary.began.isoformat() if summary.began else "", summary.name


def _title(summaries: Sequence[RunSummary], asked: str, simulated: int) -> str:
    titles = sorted({each.bench for each in summaries if each.bench})
    exact = [title for title in titles if title == asked]
    fitting = exact or [title for title in titles if asked.casefold() in title.casefold()]
    if len(fitting) == 1:
        return fitting[0]
    if not titles:
        among = f" {simulated} simulated runs are left out; --with-simulated takes them in." if simulated else ""
        raise UsageError(f"no run there names its bench.{among}")
    listed = "; ".join(fitting or titles)
    if fitting:
        raise UsageError(f"several benches fit: {listed}", advice="Name one of them with --bench; a part will do.")
    raise UsageError(f"no run is of a bench whose title has {asked!r} in it; there are: {listed}")


def _left_out(read: Sequence[tuple[str, str]], simulated: int) -> Iterator[str]:
    yield from (f"{run}: {why}" for run, why in read if why)
    if simulated:
        yield f"{simulated} simulated run{'s' if simulated > 1 else ''}; --with-simulated takes them in"
