"""What drives the amplifier: the signal it is given, at the load and the frequency that are set."""

from __future__ import annotations

from benchctl.errors import MeasurementError
from benchctl.instruments.generator import Burst
from benchctl.measure.conditions import Drive
from benchctl.runner.acting.run import Run

# After the drive is off and before a relay moves: output filters and coupling capacitors run out.
QUIET_S = 0.05
# Relay bounce and pull-in, common practice: well under 50 ms for power relays.
RELAY_S = 0.1


def mute(run: Run) -> None:
    """No signal into the amplifier; a level that was set is one no longer."""
    run.bench.generator.output_off()
    run.set_to_silence()


def set_frequency(run: Run, frequency_hz: float) -> None:
    """Tune the generator."""
    run.bench.generator.set_frequency(frequency_hz)
    run.set_to(frequency_hz=frequency_hz)


def tone(run: Run, level_v: float, drive: Drive = "set") -> None:
    """A steady sine at `level_v` V rms into the amplifier; `drive` says how the level was found."""
    run.bench.generator.set_level(level_v)
    run.bench.generator.output_on()
    run.set_to_drive(level_v, drive)


def start_burst(run: Run, burst: Burst, drive: Drive) -> None:
    """Bursts into the amplifier, beginning with one. The steady level under them is the low one, so that no end of
    the bursts can leave the amplifier at full drive."""
    generator = run.bench.generator
    generator.set_level(burst.low_level_v)
    generator.output_on()
    generator.start_burst(burst)
    run.set_to_drive(burst.level_v, drive)


def stop_burst(run: Run) -> None:
    """End the bursts, then the signal."""
    run.bench.generator.stop_burst()
    mute(run)


def connected_load_ohm(run: Run) -> float:
    """The load that is connected.

    Raises:
        MeasurementError: none is.
    """
    if run.conditions.load_ohm is None:
        raise MeasurementError("no load is connected; a 'set' or a 'sweep' before this step does it")
    return run.conditions.load_ohm


def tuned_hz(run: Run) -> float:
    """The frequency that is set.

    Raises:
        MeasurementError: none is.
    """
    if run.conditions.frequency_hz is None:
        raise MeasurementError("no frequency is set; a 'set' or a 'sweep' before this step does it")
    return run.conditions.frequency_hz


def load_and_frequency(run: Run) -> tuple[float, float]:
    """The load and the frequency that are set.

    Raises:
        MeasurementError: one of them is not.
    """
    return connected_load_ohm(run), tuned_hz(run)
