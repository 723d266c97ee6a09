"""One amplifier of each model that the simulator knows, for tests that hold for all of them."""

from __future__ import annotations

from dataclasses import replace

from benchctl.documents.amplifier_file.faults import AmplifierFaults, DryJoint, OpenDevice, WeakRail
from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation, ProtectionSimulation
from benchctl.simulator.model.description import BenchDescription
from benchctl.simulator.physics import derive_physics
from tests.simulator.benches import PLATE, describe

CLASS_D = replace(PLATE, switching=True, idle_current_a=1.0)
BRIDGED = replace(PLATE, floating=True)
FILTERS = (
    CrossoverFilter(kind="low-pass", corner_hz=4000.0, slope="24 dB/octave"),
    CrossoverFilter(kind="high-pass", corner_hz=30.0, slope="12 dB/octave", channels=("A",)),
)
FAULTS = AmplifierFaults(
    aged_reservoir=0.2,
    open_device=OpenDevice(channel="A", half="upper"),
    bias_too_high=4.0,
    dc_on_output={"B": 1.0},
    gain_mismatch={"B": 0.8},
    dry_joint=DryJoint(channel="B", opens_c=40.0, closes_c=35.0),
)
WEAK_RAIL = AmplifierFaults(weak_rail=WeakRail(rail="minus", capacitance=0.1, voltage=0.95))
# Dc of half a wave would silence the faulty one at once.
PATIENT = ProtectionSimulation(output_dc_v=100.0)

PLATES = {"class D": CLASS_D, "class D bridged": replace(CLASS_D, floating=True), "class AB bridged": BRIDGED}
SIMULATIONS = {
    "class AB": AmplifierSimulation(),
    "class AB regulated": AmplifierSimulation(rails="regulated"),
    "class AB soft, crossover": AmplifierSimulation(soft_knee=0.2, crossover_v=0.3),
    "class AB filtered": AmplifierSimulation(filters=FILTERS),
    "class AB drifting": AmplifierSimulation(bias_drift_per_k=0.01),
    "class AB faulty": AmplifierSimulation(faults=FAULTS, protection=PATIENT),
    "class AB weak rail": AmplifierSimulation(reservoir_esr_ohm=0.03, faults=WEAK_RAIL, protection=PATIENT),
    "class AB bridged": AmplifierSimulation(),
    "class D": AmplifierSimulation(),
    "class D regulated, soft": AmplifierSimulation(rails="regulated", soft_knee=0.1),
    "class D bridged": AmplifierSimulation(commutation_s=100e-9),
    "class D weak rail": AmplifierSimulation(faults=WEAK_RAIL),
    "class D pumping": AmplifierSimulation(imperfections=AmplifierImperfections(pumps=True), commutation_s=100e-9),
    "folding back": AmplifierSimulation(protection=ProtectionSimulation(fold_back_c=30.0)),
}
MODELS = tuple(SIMULATIONS)


def description(model: str) -> BenchDescription:
    """The workshop's bench around an amplifier of this model."""
    plate = PLATES.get(model, CLASS_D if model.startswith("class D") else PLATE)
    return describe(plate=plate, amplifier=derive_physics(plate, SIMULATIONS[model]))
