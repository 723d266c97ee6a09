"""The physics of the simulated bench, brought up to date whenever an instrument asks.

Nothing runs by itself: `advance(now)` integrates from the last query to this one, from event to event. Events are the
signal's own changes, a bouncing contact, a supply on its way to another voltage, the supply's watchdog, the amplifier's
turn-on delay and the protections; between them only the rails move (rails/), and the slow things (heatsink, resistors)
follow one step behind it.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import EVEN, Circuit, Flows, Outputs
from benchctl.simulator.amplifier.rails.follower import RailFollower, swings
from benchctl.simulator.amplifier.rails.means import RailCurve, Values
from benchctl.simulator.amplifier.rails.network import draw_at
from benchctl.simulator.amplifier.rails.voltages import EMPTY, Rails
from benchctl.simulator.amplifier.thump import Pulse
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.hardware.connections import REMOTE_INPUT_OHM, Connections, Signals, side_voltage_v
from benchctl.simulator.hardware.history import History, Stretch, SupplyMeans
from benchctl.simulator.hardware.input_capacitor import Charging
from benchctl.simulator.model.description import BenchDescription
from benchctl.simulator.model.true_errors import TrueErrors

Samples = NDArray[np.float64]

LONGEST_STEP_S = 1.0
"""Temperatures follow one step behind the rail; no resistor here changes by a thousandth in a second."""

HEATING_STEP_S = 0.05
"""How often temperatures are brought up to date; no sensor here shows a change in so short a time."""

SHORT_STEP_S = 0.002
"""Length of a step while an over-current is being timed."""

RAMP_STEP_S = 0.01
"""Length of a step while a converter starts softly."""

HELD_LONGER = 2.0
"""While the voltage of a supply recovers, rails that swing are followed for so many times as long as it held last: what
lies behind its next step would be followed in vain."""

REMEMBERED_S = 0.1
"""How far back read-backs may average."""


class Watcher(Protocol):
    """Somebody who waits for something to happen, such as an oscilloscope for its trigger."""

    def remembers_from(self) -> float:
        """The earliest time the watcher may still ask the history for; infinity for none."""

    def look(self, from_s: float, to_s: float) -> None:
        """Time has passed; nothing was switched in between."""


@dataclass
class Meters:
    """Energy in J since the start, item by item."""

    supplied: float = 0.0
    lead: float = 0.0
    heatsink: float = 0.0
    loads: float = 0.0

    def add(self, flows: Flows, seconds: float) -> None:
        """Count the flows of a step."""
        self.supplied += flows.supply * seconds
        self.lead += flows.lead * seconds
        self.heatsink += flows.heatsink * seconds
        self.loads += sum(flows.loads) * seconds


class _Terminals(NamedTuple):
    """What supply and protections see of a circuit at one rail."""

    circuit: Circuit
    rail_v: float
    supply: SupplyMeans
    terminal_v: float
    outputs: Outputs


class PhysicalBench:
    """All hardware and its time. One lock guards all of it; the caller must hold it."""

    def __init__(self, description: BenchDescription, true_errors: TrueErrors | None = None) -> None:
        self.description = description
        self.true_errors = true_errors or TrueErrors(description.bench)
        self.connections = Connections(description, self.true_errors)
        self.lock = threading.RLock()
        self.time_s = 0.0
        self.rails: Rails = EMPTY
        self.meters = Meters()
        self.history = History()
        self._watchers: list[Watcher] = []
        self._heat_seconds = self._heatsink_w = self._lead_w = 0.0
        self._slew_s = self._gain_s = self._held_s = math.inf
        self._loads_w = [0.0 for _ in description.plate.channels]
        self._follower = RailFollower()
        self._seen: _Terminals | None = None
        self._capacitor = description.amplifier.imperfections.input_capacitor
        self._input_v = 0.0

    @property
    def rail_v(self) -> float:
        """The mean of both rails."""
        return self.rails.mean_v

    def watch(self, watcher: Watcher) -> None:
        """Call `watcher` each time that time passes, from now on."""
        self._watchers.append(watcher)

    def advance(self, now_s: float) -> None:
        """Bring everything up to `now_s`; a time in the past changes nothing."""
        from_s = self.time_s
        circuit, signals = self._look()
        while self.time_s < now_s:
            self._step(now_s, circuit, signals)
            circuit, signals = self._look()
        for watcher in self._watchers:
            watcher.look(from_s, self.time_s)
        earliest_s = min((watcher.remembers_from() for watcher in self._watchers), default=math.inf)
        self.history.forget_before(min(earliest_s, self.time_s - REMEMBERED_S))

    def circuit(self) -> Circuit:
        """The circuit at this instant."""
        return self.connections.circuit(self.connections.signals_at(self.time_s), self.time_s)

    def supply_means(self, number: int, window_s: float) -> SupplyMeans:
        """Mean voltage and current of an output over the last `window_s`, but not from before it was last set."""
        output = self.connections.outputs[number]
        if output is not self.connections.main_output:
            voltage_v = side_voltage_v(output)
            # Only the remote lead is wired; an unwired output gives no current.
            wired = voltage_v > 0 and self.connections.remote_v == voltage_v
            return SupplyMeans(voltage_v, voltage_v / REMOTE_INPUT_OHM if wired else 0.0)
        means = self.history.supply_means(max(self.time_s - window_s, output.changed_s), self.time_s)
        return means or self._terminals(self.circuit()).supply

    def _terminals(self, circuit: Circuit) -> _Terminals:
        """Kept, because circuit and rail stay the same from look to look while the bench is at rest."""
        seen = self._seen
        if seen is None or seen.circuit is not circuit or seen.rail_v != self.rail_v:
            even = circuit.sides == EVEN
            draw = circuit.converter.draw(circuit.source, self.rail_v) if even else draw_at(circuit, self.rails)
            supply = SupplyMeans(circuit.supply_v(draw), draw.supply_a)
            outputs = circuit.outputs(self.rail_v)
            seen = self._seen = _Terminals(circuit, self.rail_v, supply, draw.terminal_v, outputs)
        return seen

    def _step(self, now_s: float, circuit: Circuit, signals: Signals) -> None:
        output, tone = self.connections.main_output, signals.tone
        end_s = min(now_s, signals.until_s, self._next_look_s())
        if output.recovery is not None and not swings(circuit):
            end_s = min(end_s, self.time_s + output.holds_s(self._terminals(circuit).supply.current_a))
        elif output.recovery is not None:
            end_s = min(end_s, self.time_s + HELD_LONGER * self._held_s)
        run = self._curve(circuit, tone, end_s - self.time_s)
        for sooner_s in (run.departs_s(self._noticeable), self._recovers_s(circuit, run, tone)):
            if sooner_s is not None and sooner_s < run.seconds:
                end_s, run = self.time_s + sooner_s, run.until(sooner_s)
        self._collect_heat(run)
        self.meters.add(run.flows, run.seconds)
        if output.recovery is not None:
            output.recover(run.seconds, run.mean_supply_a)
            self._held_s = run.seconds
        self.history.append(Stretch(self.time_s, run, tone, self._pulse(), self._charging(run)))
        self.time_s, self.rails = end_s, run.end

    def _curve(self, circuit: Circuit, tone: Tone, seconds: float) -> RailCurve:
        """The rails for some time from now on."""
        return self._follower.curve(circuit, self.rails, (self.time_s - tone.origin_s) * tone.frequency_hz, seconds)

    def _recovers_s(self, circuit: Circuit, run: RailCurve, tone: Tone) -> float | None:
        """How long the voltage of a supply that has to recover counts as constant: whole cycles where they swing."""
        output = self.connections.main_output
        if output.recovery is None:
            return None
        if swings(circuit):
            return max(output.holds_s(run.mean_supply_a), 1 / tone.frequency_hz)
        times_s = output.times_to_look_at_s(run.seconds)
        return output.holds_until_s(times_s, run.supply_a(times_s))

    def _charging(self, run: RailCurve) -> Charging | None:
        """The capacitor across the supply terminals over a curve, to whose end it is brought."""
        if self._capacitor is None:
            return None
        charging = Charging(self._capacitor, self._input_v, self.connections.main_output.v_per_s)
        self._input_v = charging.end_v(run)
        return charging

    def _supply_a(self, circuit: Circuit, drawn_a: float) -> float:
        """The supply's current now, with what that capacitor takes."""
        if self._capacitor is None:
            return drawn_a
        return Charging(self._capacitor, self._input_v, 0.0).start_a(circuit.source, drawn_a)

    def _pulse(self) -> Pulse | None:
        pulse = self.connections.amplifier.pulse
        return None if pulse is None or pulse.over(self.time_s) else pulse

    def _collect_heat(self, run: RailCurve) -> None:
        """Temperatures change slowly, so heat is collected and passed on a few times a second."""
        seconds = self._heat_seconds + run.seconds
        old, new = self._heat_seconds / seconds, run.seconds / seconds
        self._heatsink_w = old * self._heatsink_w + new * run.flows.heatsink
        self._lead_w = old * self._lead_w + new * run.flows.lead
        self._loads_w = [old * a + new * b for a, b in zip(self._loads_w, run.flows.loads, strict=True)]
        self._heat_seconds = seconds
        if seconds >= HEATING_STEP_S:
            self.connections.warm(seconds, self._heatsink_w, self._loads_w, self._lead_w)
            self._heat_seconds = 0.0

    def _noticeable(self, terminal_v: Values, supply_a: Values, rail_v: Values) -> int | NDArray[np.int64]:
        """Which levels of the protections are passed: the supply's over-current, the amplifier's low voltage and its
        highest rail."""
        over = supply_a > self.connections.main_output.overcurrent_a
        protection = self.connections.physics.protection
        under = terminal_v < protection.low_voltage_v
        above = rail_v > (math.inf if protection.rail_v is None else protection.rail_v)
        return over + 2 * under + 4 * above

    def _next_look_s(self) -> float:
        """The latest time at which to look at states again."""
        amplifier = self.connections.amplifier
        longest_s = SHORT_STEP_S if self.connections.main_output.timing else LONGEST_STEP_S
        if amplifier.ramp(self.time_s).per_s > 0:
            longest_s = min(longest_s, RAMP_STEP_S)
        change_s = amplifier.next_change_s(self.time_s)
        bounce_s, bite_s = self.connections.relays.next_bounce_s, self.connections.watchdog.due_s
        return min(self.time_s + longest_s, change_s, bounce_s, self._slew_s, self._gain_s, bite_s)

    def _look(self) -> tuple[Circuit, Signals]:
        """Bring the protections and the amplifier's state up to date; returns the circuit that results."""
        connections = self.connections
        connections.bounce(self.time_s)
        connections.watchdog.look(self.time_s, connections.outputs.values())
        self._slew_s = connections.slew(self.time_s)
        for output in connections.outputs.values():
            if output is not connections.main_output:
                output.watch(self.time_s, output.open_v, 0.0)
        signals = connections.signals_at(self.time_s)
        self._gain_s = connections.compress(self.time_s, signals.tone)
        circuit = connections.circuit(signals, self.time_s)
        _, _, supply, terminal_v, outputs = self._terminals(circuit)
        supply_a = self._supply_a(circuit, supply.current_a)
        tripped = connections.main_output.watch(self.time_s, supply.voltage_v, supply_a)
        changed = connections.look(self.time_s, terminal_v, outputs, max(self.rails))
        return (connections.circuit(signals, self.time_s) if tripped or changed else circuit), signals
