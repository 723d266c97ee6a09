"""Load resistors that warm up, and the outputs that they are connected to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from benchctl.simulator.hardware.thermal import ThermalChain

REFERENCE_C = 20.0
"""Resistances are stated at this temperature, as in data sheets."""

RISE_AT_RATING_K = 200.0
"""How much a wirewound resistor on its heatsink warms at its rated power (common practice: 150 to 250 K)."""

WARM_UP_S = 200.0
"""Time constant of such a resistor."""


SAME_NOMINAL = 1e-3
"""Nominal values that differ by less than this are the same: `2000 mohm` and `2 ohm` may differ in the last digit."""


@dataclass(frozen=True)
class TrueResistor:
    """The true values of one load resistor."""

    channel: str
    """the amplifier output it is wired to"""
    relay: int
    resistance_ohm: float
    """at 20 degC"""
    temperature_coefficient_per_k: float
    rated_power_w: float
    nominal_ohm: float = 0.0
    """the value by which a person chooses it"""


class Resistor:
    """A resistor, its switch and its temperature."""

    def __init__(self, true_errors: TrueResistor, ambient_c: float) -> None:
        self.true_errors = true_errors
        self.connected = False
        resistance_k_per_w = RISE_AT_RATING_K / true_errors.rated_power_w
        self.heat = ThermalChain([resistance_k_per_w], [WARM_UP_S / resistance_k_per_w], ambient_c)

    @property
    def temperature_c(self) -> float:
        """Of the wire."""
        return self.heat.temperatures_c[0]

    @property
    def resistance_ohm(self) -> float:
        """At its present temperature."""
        rise_k = self.temperature_c - REFERENCE_C
        return self.true_errors.resistance_ohm * (1 + self.true_errors.temperature_coefficient_per_k * rise_k)


class LoadBank:
    """All resistors of the bench."""

    def __init__(self, truths: Iterable[TrueResistor], channels: Sequence[str], ambient_c: float) -> None:
        self.resistors = tuple(Resistor(true_errors, ambient_c) for true_errors in truths)
        self._channels = tuple(channels)
        self._ambient_c = ambient_c
        self._conductances_s: tuple[float, ...] | None = None
        self._connected: dict[str, list[Resistor]] = {channel: [] for channel in self._channels}

    def conductances_s(self) -> tuple[float, ...]:
        """The load conductance on each amplifier channel, in the amplifier's order."""
        if self._conductances_s is None:
            self._conductances_s = tuple(
                sum([1 / resistor.resistance_ohm for resistor in self._connected[channel]])
                for channel in self._channels
            )
        return self._conductances_s

    def connect(self, resistor: Resistor, *, connected: bool) -> None:
        """Put a resistor on its channel, or take it off."""
        resistor.connected = connected
        self._conductances_s = None
        self._connected = {
            channel: [each for each in self.resistors if each.connected and each.true_errors.channel == channel]
            for channel in self._channels
        }

    def connect_by_hand(self, nominal_ohm: float | None) -> None:
        """Connect the resistors of this value to their channels and take all others off; None takes all off."""
        for resistor in self.resistors:
            stated_ohm = resistor.true_errors.nominal_ohm
            is_meant = nominal_ohm is not None and abs(stated_ohm - nominal_ohm) < SAME_NOMINAL * nominal_ohm
            self.connect(resistor, connected=is_meant)

    def set_resistance(self, resistor: Resistor, resistance_ohm: float) -> None:
        """Set the resistance of an electronic load."""
        resistor.true_errors = replace(resistor.true_errors, resistance_ohm=resistance_ohm)
        self._conductances_s = None

    def advance(self, seconds: float, powers_w: Sequence[float]) -> None:
        """Warm the resistors with the power that each channel gave, shared as parallel resistors share it."""
        shares = {id(resistor): 0.0 for resistor in self.resistors}
        for channel, power_w in zip(self._channels, powers_w, strict=True):
            connected = self._connected[channel]
            total_s = sum([1 / resistor.resistance_ohm for resistor in connected])
            for resistor in connected:
                shares[id(resistor)] = power_w / resistor.resistance_ohm / total_s
        for resistor in self.resistors:
            resistor.heat.advance(seconds, shares[id(resistor)])
        self._conductances_s = None

    def hottest_c(self) -> float:
        """The temperature of the hottest resistor; that of the air where there is none."""
        return max((resistor.temperature_c for resistor in self.resistors), default=self._ambient_c)

    def by_relay(self, relay: int) -> Resistor | None:
        """The resistor behind a relay, if any."""
        return next((resistor for resistor in self.resistors if resistor.true_errors.relay == relay), None)
