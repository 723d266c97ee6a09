"""What distinguishes the amplifier models, seen from outside: at the supply, at the outputs, over time."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchctl.documents.amplifier_file.faults import AmplifierFaults, DryJoint, OpenDevice
from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.simulation import (
    AmplifierSimulation,
    HeatsinkSimulation,
    ProtectionSimulation,
)
from benchctl.simulator.amplifier.amplifier import State
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.waveforms import Samples
from benchctl.simulator.model.description import LoadDescription, Plate, ResistorDescription
from benchctl.simulator.physics import derive_physics
from tests.simulator.benches import PLATE, awake, describe
from tests.simulator.models import BRIDGED, CLASS_D, MODELS, description

SMALL_HEATSINK = HeatsinkSimulation(
    junction_k_per_w=0.2, junction_capacity_j_per_k=5.0, ambient_k_per_w=1.0, capacity_j_per_k=60.0
)


class Probe:
    """Keeps the history of a simulated bench, so that its outputs can be sampled."""

    def __init__(self, physical_bench: PhysicalBench) -> None:
        self.physical_bench = physical_bench
        self.from_s = physical_bench.time_s
        physical_bench.watch(self)

    def remembers_from(self) -> float:
        return self.from_s

    def look(self, from_s: float, to_s: float) -> None:
        """Nothing to do."""

    def output_v(self, channel: int, from_s: float, to_s: float, rate_hz: float = 1e6) -> Samples:
        """Samples of an output."""
        times_s = from_s + np.arange(round((to_s - from_s) * rate_hz)) / rate_hz
        return waveforms.output_v(self.physical_bench.history.between(from_s, to_s), times_s, channel)


def playing(physical_bench: PhysicalBench, level_v: float, seconds: float = 0.5) -> Probe:
    """A steady tone at this level for this long; recorded from its start."""
    probe = Probe(physical_bench)
    physical_bench.connections.drive.output_on, physical_bench.connections.drive.level_v = True, level_v
    physical_bench.advance(physical_bench.time_s + seconds)
    return probe


def amplifier(
    simulation: AmplifierSimulation, plate: Plate = PLATE, relays: tuple[int, ...] = (101, 102)
) -> PhysicalBench:
    """Awake, idle, loaded."""
    return awake(describe(plate=plate, amplifier=derive_physics(plate, simulation)), relays)


@pytest.mark.parametrize("model", MODELS)
def test_what_a_probe_sees_is_what_the_energy_meters_count(model: str) -> None:
    """Mean square of the sampled output over the load's resistance = metered power, for every model."""
    physical_bench = awake(description(model), (101, 102))
    for level_v in (0.1, 0.8, 1.3):
        assert_seen_as_counted(model, playing(physical_bench, level_v, 0.28))


def assert_seen_as_counted(model: str, probe: Probe) -> None:
    """In the next cycles of the tone that plays."""
    physical_bench = probe.physical_bench
    from_s = physical_bench.time_s
    physical_bench.advance(from_s + 0.02)
    (span,) = physical_bench.history.between(from_s, physical_bench.time_s)
    flows = span.run.flows
    conductances_s = physical_bench.connections.loads.conductances_s()
    for channel, (power_w, conductance_s) in enumerate(zip(flows.loads, conductances_s, strict=True)):
        seen_v = probe.output_v(channel, from_s, physical_bench.time_s)
        # The residue of the carrier is not metered: 0.2 V rms.
        residue_w = (
            float(physical_bench.connections.physics.ripple_v) ** 2 * conductance_s
            if model.startswith("class D")
            else 0.0
        )
        assert float(np.mean(seen_v**2)) * conductance_s == pytest.approx(power_w + residue_w, rel=3e-3, abs=1e-3)


@pytest.mark.parametrize("model", MODELS)
def test_the_same_drive_gives_the_same_samples_each_time(model: str) -> None:
    first, second = (playing(awake(description(model), (101, 102)), 0.9, 0.1) for _ in range(2))
    assert np.array_equal(first.output_v(0, 2.08, 2.09), second.output_v(0, 2.08, 2.09))


def clean_power_w(physical_bench: PhysicalBench, level_v: float = 0.35) -> float:
    """Power of the first channel just below clipping, with the rail under this load; from a level that is clean."""
    while True:
        physical_bench.connections.drive.output_on, physical_bench.connections.drive.level_v = True, level_v
        physical_bench.advance(physical_bench.time_s + 0.2)
        circuit = physical_bench.circuit()
        stage = circuit.stages[0]
        if stage.peak_v > stage.transfer.onset_v(stage.limit_v(circuit.limit_v(physical_bench.rail_v))):
            return circuit.flows(physical_bench.rail_v).loads[0]
        level_v *= 1.01


@pytest.mark.parametrize("plate", [CLASS_D, BRIDGED, replace(CLASS_D, floating=True)])
@pytest.mark.parametrize("rails", ["unregulated", "regulated"])
def test_a_stand_in_of_any_kind_meets_its_plate_and_only_just(plate: Plate, rails: str) -> None:
    """Derived from a plate of 150 W into 4 ohm at 1 %; at the onset of clipping it gives 1/1.0475 of that (closed form
    of the clipped sine)."""
    power_w = clean_power_w(amplifier(AmplifierSimulation.model_validate({"rails": rails}), plate), level_v=0.6)
    # Regulated rails must suffice for both ratings, so the lighter load gets more.
    highest = 1.06 if rails == "unregulated" else 2.1
    assert 150.0 / 1.0475 < power_w < highest * 150.0


def efficiency(physical_bench: PhysicalBench, level_v: float) -> float:
    """Output power over input power, in the steady state."""
    playing(physical_bench, level_v)
    flows = physical_bench.circuit().flows(physical_bench.rail_v)
    return sum(flows.loads) / flows.supply


def test_class_d_is_efficient_where_class_ab_is_not() -> None:
    linear, switching = (amplifier(AmplifierSimulation(), plate) for plate in (PLATE, CLASS_D))
    assert 0.45 < efficiency(linear, 0.75) < 0.7
    assert 0.75 < efficiency(switching, 0.75) < 0.92
    assert efficiency(switching, 0.25) > 1.5 * efficiency(linear, 0.25)


def test_a_bridge_from_the_same_rails_gives_four_times_the_power_into_the_same_load() -> None:
    """Twice the voltage, as long as the rails hold; (2V)²/R = 4·V²/R."""
    stiff = AmplifierSimulation(rail_v=20.0, rail_stiffness_ohm=0.001, reservoir_f=0.1, saturation_v=0.0,
                                output_resistance_ohm=0.0)  # fmt: skip
    single, bridged = clean_power_w(amplifier(stiff)), clean_power_w(amplifier(stiff, BRIDGED))
    assert bridged == pytest.approx(4 * single, rel=0.05)


def test_regulated_rails_stand_still_until_the_supply_is_too_low_for_them() -> None:
    """Constant from 12 to 16 V at the terminals; below the dropout of 11 V they fall in proportion."""
    regulated = AmplifierSimulation(rails="regulated", rail_v=30.0, rail_stiffness_ohm=0.05, dropout_v=11.0)
    rails = {}
    for supply_v in (16.0, 12.0, 10.0):
        physical_bench = awake(describe(amplifier=derive_physics(PLATE, regulated)), voltage_v=supply_v)
        rails[supply_v] = physical_bench.rail_v
    assert rails[16.0] == pytest.approx(rails[12.0], abs=1e-3)
    assert rails[12.0] == pytest.approx(30.0, abs=0.1)
    assert rails[10.0] == pytest.approx(30.0 * 10.0 / 11.0, abs=0.2)


def test_a_regulating_converter_draws_the_more_the_lower_its_supply() -> None:
    """Constant power: current times voltage at the terminals is constant (arithmetic of an ideal regulator)."""
    regulated = AmplifierSimulation(rails="regulated", rail_v=30.0, dropout_v=10.0)
    powers = []
    for supply_v in (16.0, 12.0):
        physical_bench = awake(describe(amplifier=derive_physics(PLATE, regulated)), (101, 102), supply_v)
        playing(physical_bench, 0.5)
        draw = physical_bench.circuit().converter.draw(physical_bench.circuit().source, physical_bench.rail_v)
        powers.append(draw.terminal_v * (draw.supply_a - physical_bench.circuit().converter.small_stages_a))
    assert powers[0] == pytest.approx(powers[1], rel=1e-3)


@pytest.mark.parametrize(("farads", "left"), [(0.03, 1.0), (0.03, 0.25)])
def test_the_droop_in_a_burst_has_the_time_constant_of_stiffness_times_reservoir(farads: float, left: float) -> None:
    """tau = R·C, with what age has left of C: after one tau, 1/e of the way to the steady rail remains."""
    physics = AmplifierSimulation(
        rail_v=41.0, rail_stiffness_ohm=0.4, reservoir_f=farads, faults=AmplifierFaults(aged_reservoir=left)
    )
    description_ = replace(describe(amplifier=derive_physics(PLATE, physics)))
    description_ = replace(description_, bench=description_.bench.model_copy(update={"supply_lead_ohm": 0.0}))
    physical_bench = awake(description_, (101, 102))
    start_v = physical_bench.rail_v
    physical_bench.connections.drive.output_on, physical_bench.connections.drive.level_v = True, 0.5
    physical_bench.advance(2.0 + 0.4 * farads * left)
    after_tau_v = physical_bench.rail_v
    physical_bench.advance(3.0)
    assert (after_tau_v - physical_bench.rail_v) / (start_v - physical_bench.rail_v) == pytest.approx(
        1 / math.e, rel=2e-3
    )


def rms(values: Samples) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(values**2)))


def test_a_filter_takes_from_its_own_channel_only() -> None:
    """24 dB/octave: 24.0993 dB an octave beyond the corner (10·lg(1 + 2^8), textbook)."""
    low_pass = CrossoverFilter(kind="low-pass", corner_hz=500.0, slope="24 dB/octave", channels=("A",))
    physical_bench = amplifier(AmplifierSimulation(filters=(low_pass,), offset_v={}))
    probe = playing(physical_bench, 0.5)
    filtered, open_ = (rms(probe.output_v(channel, 2.4, 2.45)) for channel in (0, 1))
    assert 20 * math.log10(open_ / filtered) == pytest.approx(24.0993, abs=0.002)


def test_the_carrier_leaves_its_residue_only_while_it_plays() -> None:
    carrier = AmplifierSimulation(ripple_v=0.3, carrier_hz=100e3, offset_v={})
    physical_bench = amplifier(carrier, replace(CLASS_D, floating=True))
    quiet = playing(physical_bench, 0.0).output_v(0, 2.2, 2.21)
    assert rms(quiet) == pytest.approx(0.3, rel=1e-3)
    spectrum = np.abs(np.fft.rfft(quiet))
    assert np.argmax(spectrum) * 100.0 == pytest.approx(100e3)
    physical_bench.connections.outputs[2].on = False
    physical_bench.advance(physical_bench.time_s + 0.5)  # its capacitor discharges slowly
    probe = Probe(physical_bench)
    physical_bench.advance(physical_bench.time_s + 0.1)
    assert rms(probe.output_v(0, physical_bench.time_s - 0.05, physical_bench.time_s)) == 0.0


# -- protections ------------------------------------------------------------------------------------------------------


def shorted(ohms: float) -> PhysicalBench:
    """With a resistor of almost 0 ohm on relay 109."""
    short = ResistorDescription("A", ohms, ohms, 0.0, 0.0, 1e6, 109)
    bench = describe()
    assert bench.load is not None
    load = LoadDescription("relay bank", (*bench.load.resistors, short))
    return awake(replace(bench, load=load), (101, 102))


def test_a_short_circuit_mutes_it_and_after_its_rest_it_tries_again() -> None:
    physical_bench = shorted(0.05)
    playing(physical_bench, 0.5)
    assert physical_bench.connections.amplifier.state is State.PLAYING
    physical_bench.connections.close_relay(109, physical_bench.time_s)
    physical_bench.advance(physical_bench.time_s + 0.01)
    assert physical_bench.connections.amplifier.state is State.SHORTED
    physical_bench.connections.open_relay(109, physical_bench.time_s)
    physical_bench.advance(physical_bench.time_s + 2.0 + 1.5)  # rest and turn-on delay
    assert physical_bench.connections.amplifier.state is State.PLAYING


def test_a_short_that_stays_is_tried_and_left_again_and_again() -> None:
    physical_bench = shorted(0.05)
    physical_bench.connections.close_relay(109, physical_bench.time_s)
    physical_bench.connections.drive.output_on, physical_bench.connections.drive.level_v = True, 0.5
    states = []
    for _ in range(80):
        physical_bench.advance(physical_bench.time_s + 0.1)
        states.append(physical_bench.connections.amplifier.state)
    assert {State.SHORTED, State.WAKING} == set(states)


@pytest.mark.parametrize(("dc_v", "expected"), [(2.9, State.PLAYING), (3.1, State.OFFSET)])
def test_dc_at_an_output_mutes_it_beyond_the_threshold(dc_v: float, expected: State) -> None:
    physical_bench = amplifier(AmplifierSimulation(faults=AmplifierFaults(dc_on_output={"B": dc_v}), offset_v={}))
    physical_bench.advance(3.0)
    assert physical_bench.connections.amplifier.state is expected


def test_after_dc_only_a_new_start_lets_it_play() -> None:
    physical_bench = amplifier(AmplifierSimulation(faults=AmplifierFaults(dc_on_output={"B": 5.0}), offset_v={}))
    physical_bench.advance(30.0)
    assert physical_bench.connections.amplifier.state is State.OFFSET
    assert physical_bench.circuit().flows(physical_bench.rail_v).loads == (0.0, 0.0)
    physical_bench.connections.outputs[2].on = False
    physical_bench.advance(30.5)  # the supply's capacitor discharges slowly
    assert physical_bench.connections.amplifier.state is State.ASLEEP


def test_an_open_device_puts_half_waves_on_the_load_until_their_dc_mutes_it() -> None:
    """The mean of half a sine is its peak over pi (textbook), and the protection trips at 3 V after 0.3 s."""
    physical_bench = amplifier(
        AmplifierSimulation(faults=AmplifierFaults(open_device=OpenDevice(channel="A", half="lower")))
    )
    probe = playing(physical_bench, 0.4, 0.25)
    seen = probe.output_v(0, 2.2, 2.25)
    assert float(np.min(seen)) == 0.0
    assert float(np.mean(seen)) == pytest.approx(0.4 * math.sqrt(2) * PLATE.gain / math.pi, rel=0.01)
    physical_bench.advance(2.5)
    assert physical_bench.connections.amplifier.state is State.OFFSET


def test_heat_first_takes_gain_back_and_then_mutes() -> None:
    """From 50 degC its gain falls evenly to half at 95 degC."""
    folding = ProtectionSimulation(fold_back_c=50.0, fold_back_to=0.5)
    physical_bench = amplifier(AmplifierSimulation(heatsink=SMALL_HEATSINK, protection=folding))
    physical_bench.connections.drive.output_on, physical_bench.connections.drive.level_v = True, 0.5
    while physical_bench.connections.heatsink_c < 72.5:
        physical_bench.advance(physical_bench.time_s + 0.1)
        assert physical_bench.time_s < 600
    full_v = 0.5 * math.sqrt(2) * PLATE.gain
    assert physical_bench.circuit().stages[0].amplitude_v == pytest.approx(0.75 * full_v, rel=0.01)


# -- faults -----------------------------------------------------------------------------------------------------------


def idle_a(simulation: AmplifierSimulation, at_s: float = 3.0) -> float:
    """The supply current of the undriven amplifier."""
    physical_bench = amplifier(simulation)
    physical_bench.advance(at_s)
    return physical_bench.supply_means(1, 0.02).current_a


def test_too_much_bias_shows_in_the_idle_current() -> None:
    """What is more than the small stages' share grows with the bias."""
    right_a, high_a = (
        idle_a(AmplifierSimulation()),
        idle_a(AmplifierSimulation(faults=AmplifierFaults(bias_too_high=4))),
    )
    assert high_a > 3 * right_a


def test_a_drifting_bias_creeps_up_as_the_heatsink_warms() -> None:
    drifting = AmplifierSimulation(bias_drift_per_k=0.01, heatsink=SMALL_HEATSINK)
    assert idle_a(drifting, 120.0) > 1.1 * idle_a(drifting, 3.0)


def test_gains_that_do_not_match_show_at_the_outputs() -> None:
    physical_bench = amplifier(AmplifierSimulation(faults=AmplifierFaults(gain_mismatch={"B": 0.8}), offset_v={}))
    probe = playing(physical_bench, 0.3)
    a_v, b_v = (rms(probe.output_v(channel, 2.4, 2.45)) for channel in (0, 1))
    assert b_v / a_v == pytest.approx(0.8, rel=1e-3)


def test_a_dry_joint_opens_when_warm_and_closes_when_cooler() -> None:
    joint = DryJoint(channel="B", opens_c=60.0, closes_c=50.0)
    physical_bench = amplifier(AmplifierSimulation(heatsink=SMALL_HEATSINK, faults=AmplifierFaults(dry_joint=joint)))
    drive = physical_bench.connections.drive
    drive.output_on, drive.level_v = True, 0.5
    hottest_c = 0.0
    while physical_bench.circuit().stages[1].live:
        hottest_c = physical_bench.connections.heatsink_c
        physical_bench.advance(physical_bench.time_s + 0.1)
        assert physical_bench.time_s < 600
    assert hottest_c == pytest.approx(60.0, abs=1.0)
    assert physical_bench.circuit().stages[0].live
    drive.output_on = False
    while not physical_bench.circuit().stages[1].live:
        physical_bench.advance(physical_bench.time_s + 0.1)
        assert physical_bench.time_s < 1200
    assert physical_bench.connections.heatsink_c == pytest.approx(50.0, abs=1.0)
