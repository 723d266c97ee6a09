"""What drives the amplifier: the signal it is given, at the load and the frequency that are set."""

from __future__ import annotations

import math

from benchctl.errors import MeasurementError
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.bursts.two_tones import TwoTones
from benchctl.measure.conditions import Drive
from benchctl.quantity import render
from benchctl.runner.acting.rhythm import Rhythm
from benchctl.runner.acting.run import Run

# Wait this long after the drive is off and before a relay moves: output filters and coupling capacitors discharge.
QUIET_S = 0.05
# Relay bounce and pull-in, common practice: well under 50 ms for power relays.
RELAY_S = 0.1


def mute(run: Run) -> None:
    """Switch the signal off. A level that was set no longer counts.

    Raises:
        InstrumentError: the generator is not off, or the run could not begin its bursts.
    """
    rhythm, run.rhythm = run.rhythm, None
    try:
        if rhythm is not None:
            rhythm.stop()
    finally:
        run.bench.generator.output_off()
        run.set_to_silence()


def set_frequency(run: Run, frequency_hz: float) -> None:
    """Tune the generator."""
    run.bench.generator.set_frequency(frequency_hz)
    run.set_to(frequency_hz=frequency_hz)


def tone(run: Run, level_v: float, drive: Drive = "set", thd_limit: float | None = None) -> None:
    """A steady sine at `level_v` V rms into the amplifier, as near as the generator's steps allow; `drive` says how the
    level was found, and `thd_limit` for which distortion."""
    set_v = run.bench.generator.set_level(level_v)
    run.bench.generator.output_on()
    run.set_to_drive(set_v, drive, thd_limit=thd_limit)


def start_burst(run: Run, burst: Burst, drive: Drive, thd_limit: float | None = None) -> None:
    """Send bursts into the amplifier. They are set while the output is off: while it changes its settings, a generator
    may be at the level of the bursts without a pause.
    """
    generator = run.bench.generator
    if run.conditions.drive != "undriven":
        mute(run)
    played = generator.start_burst(burst)
    generator.output_on()
    run.burst = played
    run.set_to_drive(played.level_v, drive, bursts=_in_words(run, played, burst), thd_limit=thd_limit)
    if generator.needs_triggers:
        run.rhythm = Rhythm(generator, run.clock, burst.every_s)
        run.rhythm.start()


def stop_burst(run: Run) -> None:
    """End the signal, then the bursts."""
    mute(run)
    run.bench.generator.stop_burst()


def _in_words(run: Run, played: Burst, asked: Burst) -> str:
    """What a record must say about its bursts, because they are not as the sequence asked or not as usual; empty if
    they are.
    """
    said = []
    if played.rest_ratio == 0.0 < asked.rest_ratio:
        said.append("silent between")
    if run.bench.generator.phase_is_free:
        said.append("beginning anywhere in a cycle")
    if run.bench.generator.needs_triggers:
        said.append("begun by the run")
    return ", ".join([f"bursts every {render(played.every_s, 's')}", *said]) if said else ""


def square_wave(run: Run, level_v: float) -> None:
    """A square wave into the amplifier, with the peak of the sine at `level_v` V rms; it is set while the output is
    off."""
    generator = run.bench.generator
    if run.conditions.drive != "undriven":
        mute(run)
    set_v = generator.start_square(level_v)
    generator.output_on()
    run.set_to_drive(set_v, "set", bursts="square wave")


def two_tones(run: Run, tones: TwoTones) -> None:
    """Two tones into the amplifier; they are set while the output is off."""
    generator = run.bench.generator
    if run.conditions.drive != "undriven":
        mute(run)
    played = generator.start_two_tones(tones)
    generator.output_on()
    run.set_to(frequency_hz=None)
    both = f"{render(tones.low_hz, 'Hz')} and {render(tones.high_hz, 'Hz')} together"
    run.set_to_drive(played.level_v, "set", bursts=both)


def back_to_sine(run: Run, frequency_hz: float | None) -> None:
    """After a square wave or two tones: mute, the sine again, and the frequency that was set before."""
    mute(run)
    generator = run.bench.generator
    generator.stop_other_waves()
    if frequency_hz is None:
        run.set_to(frequency_hz=None)
    else:
        set_frequency(run, frequency_hz)


def note_rhythm(run: Run) -> None:
    """Keep how evenly the run has triggered its bursts so far."""
    if run.rhythm is None:
        return
    run.rhythm.check()
    said, _, _ = run.conditions.bursts.partition(" within ")
    run.set_to(bursts=f"{said} within {render(_rounded_up(run.rhythm.late_s), 's')}")


def _rounded_up(seconds: float) -> float:
    """To a whole millisecond, not less than one."""
    return max(math.ceil(seconds * 1e3 - 1e-6), 1) * 1e-3


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
