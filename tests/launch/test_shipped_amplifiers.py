"""Every shipped amplifier runs dry on a shipped bench that fits it, and gives what its plate and its class promise."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest

from benchctl import library
from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.documents.amplifier_file.amplifier import Amplifier, Rating
from benchctl.documents.reader import load_amplifier
from benchctl.launch.run import Documents, run
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from tests.runner.rig import Audience


class Onlooker(Audience):
    """Has nothing to say to a run."""

    def started(self, checked: Preflight, run: Run) -> None:
        """Preflight has passed."""


@dataclass(frozen=True)
class Fit:
    """How an amplifier is tested: the bench, and what the sequence must say for it."""

    bench: str
    frequency: str = "1 kHz"
    every: str = "250 ms"
    current_limit: str = "90 A"


FITS = {
    "hx2150": Fit("workshop"),
    "hx2150_bridged": Fit("heavy_bench"),
    "cx4090": Fit("coach_bench", current_limit="65 A"),
    "kx240": Fit("workshop", current_limit="35 A"),
    "dx5080": Fit("five_channel_bench", current_limit="110 A"),
    "lw1200": Fit("heavy_bench", "200 Hz", current_limit="148 A"),
}
# One with rails that follow the supply and one with regulated rails; the rest is driven with steady tones only.
# `python -m benchmarks.sequences` holds the bursts of every amplifier against the truth.
WITH_BURSTS = {"hx2150_bridged", "kx240"}
# Its filters are in, which no power test wants; it is for measuring them.
FILTERED = {"lw1200_lowpass"}

# Clean power over the plate: a maker rates a little below what an amplifier gives (common practice).
OVER_PLATE = (1.0, 1.1)
# Output over supply power at full clean power, converter included: class AB 50 to 65 %, class D 75 to 90 %
# (common practice; an ideal class B stage alone has 78.5 %).
EFFICIENCY = {"AB": (0.5, 0.65), "D": (0.75, 0.9)}


def sequence(name: str, load_ohm: float) -> str:
    """The continuous power into every rated load, and for some two bursts into one of them."""
    fit = FITS[name]
    bursts = f"""\
  - set: {{load: {load_ohm} ohm}}
  - measure_burst: {{cycles: [1, 8], every: {fit.every}, low_level: -20 dB, thd_n: 1 %}}
"""
    return f"""benchctl: sequence 1
title: Short test of a shipped amplifier
limits:
  supply_voltage: {{below: {{from: amplifier.supply.minimum}}, for: 500 ms}}
  heatsink: {{above: {{from: amplifier.heatsink.maximum}}}}
  output_offset: {{outside: 500 mV, for: 1 s}}
steps:
  - power_on: {{voltage: {{from: amplifier.supply.nominal}}, current_limit: {fit.current_limit}}}
  - measure_idle: {{for: 1 s, expect: {{dc_offset: within 50 mV}}}}
  - sweep:
      load: {{from: amplifier.rated_loads}}
      frequency: [{fit.frequency}]
    steps:
      - find_clean_level: {{thd_n: 1 %, from: 500 mV, to: 2 V}}
      - measure_continuous: {{for: 1 s}}
{bursts if name in WITH_BURSTS else ""}  - power_off
"""


FILTERS = """benchctl: sequence 1
title: Filters of a subwoofer amplifier
steps:
  - power_on: {voltage: 14.4 V, current_limit: 100 A}
  - set: {load: 4 ohm, frequency: 50 Hz}
  - measure_filter: {from: 31.5 Hz, to: 500 Hz, level: 100 mV}
  - power_off
"""


@dataclass(frozen=True)
class Proven:
    """An amplifier file and the figures that its run left."""

    amplifier: Amplifier
    table: pd.DataFrame

    def figures(self, name: str, **where: float) -> pd.DataFrame:
        """Of the channels, or of the whole where a figure has none; never the total."""
        rows = self.table[(self.table["figure"] == name) & (self.table["channel"] != "total")]
        for column, value in where.items():
            rows = rows[rows[column] == value]
        return rows

    def gives_its_rating(self, rating: Rating) -> None:
        """Each channel its rated power and little more."""
        found = self.figures("continuous_power", load_ohm=rating.load_ohm)
        assert list(found["channel"]) == list(self.amplifier.channels)
        over = found["value"] / rating.power_w
        assert over.min() > OVER_PLATE[0]
        assert over.max() < OVER_PLATE[1]

    def is_as_efficient_as_its_class(self, rating: Rating) -> None:
        """With a steady tone at full clean power."""
        steady = self.figures("efficiency", load_ohm=rating.load_ohm)
        (value,) = steady[steady["burst_cycles"].isna()]["value"]
        lowest, highest = EFFICIENCY[self.amplifier.amplifier_class]
        assert lowest < value < highest

    def gives_more_for_a_moment(self, rating: Rating) -> None:
        """A cycle at least as much as eight, and these at least what lasts; regulated rails give all the same."""
        steady = self.figures("continuous_power", load_ohm=rating.load_ohm)["value"].iloc[0]
        one, eight = (self.figures("burst_power_clean", burst_cycles=n)["value"].iloc[0] for n in (1, 8))
        assert one > 0.995 * eight > 0.99 * steady

    def idles_as_its_maker_expects(self) -> None:
        """Within a tenth."""
        (idle_a,) = self.figures("idle_current")["value"]
        assert idle_a == pytest.approx(self.amplifier.idle_current_a, rel=0.1)


def test_every_shipped_amplifier_has_a_bench_that_fits() -> None:
    assert set(library.shipped("amplifiers")) == set(FITS) | FILTERED


@pytest.mark.parametrize("name", sorted(FITS))
def test_a_shipped_amplifier_gives_what_its_plate_and_its_class_promise(name: str, tmp_path: Path) -> None:
    amplifier = load_amplifier(name)
    path = tmp_path / "short.yaml"
    path.write_text(sequence(name, amplifier.rated[0].load_ohm), encoding="utf-8")
    result = run(Documents(path, FITS[name].bench, name), Onlooker(), out=tmp_path, dry_run=True)
    tested = Proven(amplifier, read_figures(RunFolder.open(result.folder)))
    for rating in amplifier.rated:
        tested.gives_its_rating(rating)
        tested.is_as_efficient_as_its_class(rating)
    if name in WITH_BURSTS:
        tested.gives_more_for_a_moment(amplifier.rated[0])
    tested.idles_as_its_maker_expects()


def test_the_low_pass_that_is_switched_in_is_measured_as_what_it_is(tmp_path: Path) -> None:
    """80 Hz and 24 dB/octave stand in its file; the high-pass at 20 Hz moves the corner by a per cent."""
    path = tmp_path / "filters.yaml"
    path.write_text(FILTERS, encoding="utf-8")
    result = run(Documents(path, "heavy_bench", "lw1200_lowpass"), Onlooker(), out=tmp_path, dry_run=True)
    found = read_figures(RunFolder.open(result.folder)).set_index("figure")["value"]
    assert found["low_pass_corner"] == pytest.approx(80.0, rel=0.02)
    assert found["low_pass_slope"] == pytest.approx(24.0, abs=0.3)
    assert found["low_pass_order"] == 4
