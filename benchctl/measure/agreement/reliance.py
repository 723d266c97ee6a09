"""Which figures rest on which quantity: where its instruments contradict each other, these have no verdict."""

from __future__ import annotations

from collections.abc import Mapping

SUPPLY_CURRENT = "supply current"
SUPPLY_CURRENT_PEAK = "peak supply current"
SUPPLY_VOLTAGE = "supply voltage"
OUTPUT_VOLTAGE = "output voltage"
POWER = "power"
RECORDS = "records"
HEATSINK = "heatsink temperature"
ZERO = "zero"
INPUT_NOISE = "noise of an input"
POLARITY = "polarity"
PATH = "signal path"
LOAD = "load"
TRIGGER = "trigger"

_OUTPUT_POWERS = frozenset(
    {
        "burst_power_clean",
        "burst_power_first",
        "burst_power_highest",
        "burst_power_lowest",
        "burst_power_last",
        "continuous_power",
        "average_power",
        "held_power",
        "stated_power",
        "power_per_volt",
        "fold_back_power",
        "protection_power",
    }
)
_OUTPUT_VOLTAGES = frozenset(
    {
        "dc_offset",
        "crosstalk",
        "channel_balance",
        "output_rms",
        "output_peak",
        "turn_on_thump",
        "turn_on_thump_energy",
        "turn_off_thump",
        "turn_off_thump_energy",
        "gain",
        "gain_error",
        "input_sensitivity",
        "protection_level",
        "protection_output",
        "output_noise",
        "output_noise_a_weighted",
        "signal_to_noise_1w",
        "signal_to_noise_rated",
    }
)
_CURRENTS = frozenset(
    {
        "idle_current",
        "idle_power",
        "supply_current",
        "supply_current_peak",
        "inrush_current",
        "supply_current_drift",
        "fuse_load",
        "efficiency",
        "marginal_efficiency",
        "watts_per_ampere",
        "ramp_current",
        "idle_current_rise",
        "protection_supply_current",
    }
)
_VOLTAGES = frozenset(
    {
        "supply_voltage",
        "supply_output_voltage",
        "supply_voltage_lowest",
        "supply_voltage_sag",
        "static_sag",
        "lowest_playing_voltage",
        "lowest_waking_voltage",
        "idle_power",
        "efficiency",
        "marginal_efficiency",
        "ramp_voltage",
        "protection_supply_voltage",
    }
)
_TEMPERATURES = frozenset(
    {
        "heatsink_temperature",
        "final_heatsink_temperature",
        "heatsink_time_constant",
        "heatsink_time_constant_fast",
        "fold_back_temperature",
        "protection_temperature",
    }
)

# None: every figure of the run. A power holds at a supply voltage, so it rests on that too; of a peak current only the
# peak does.
RELIES_ON: Mapping[str, frozenset[str] | None] = {
    SUPPLY_CURRENT: _CURRENTS,
    SUPPLY_CURRENT_PEAK: _CURRENTS,
    SUPPLY_VOLTAGE: _VOLTAGES | _OUTPUT_POWERS,
    OUTPUT_VOLTAGE: _OUTPUT_POWERS | _OUTPUT_VOLTAGES | {"efficiency", "marginal_efficiency", "watts_per_ampere"},
    POWER: _OUTPUT_POWERS | _OUTPUT_VOLTAGES | _CURRENTS | _VOLTAGES,
    RECORDS: None,
    HEATSINK: _TEMPERATURES,
    ZERO: _CURRENTS | {"dc_offset"},
    INPUT_NOISE: _OUTPUT_VOLTAGES,
    POLARITY: frozenset(),
    PATH: _OUTPUT_POWERS | _OUTPUT_VOLTAGES | {"efficiency"},
    TRIGGER: frozenset(),
    LOAD: _OUTPUT_POWERS | {"efficiency"},
}

# A run says it and goes on: no limit and no power depends on it, and some amplifiers invert a channel by design.
TOLD_ONLY = frozenset({POLARITY})
