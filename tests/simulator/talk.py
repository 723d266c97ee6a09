"""Exchanges with the instruments of a bench without sockets, at times that the test sets."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.model.description import BenchDescription
from tests.simulator.benches import describe


class Talk:
    """A client of one instrument."""

    def __init__(self, conversation: Conversation) -> None:
        self._conversation = conversation

    def tell(self, *messages: str) -> None:
        """Messages that have no reply."""
        for message in messages:
            self._conversation.receive(message.encode("latin-1") + b"\n")
            assert self._conversation.collect() == b"", message

    def ask(self, message: str) -> str:
        """The reply."""
        self._conversation.receive(message.encode("latin-1") + b"\n")
        return self._conversation.collect().decode("latin-1").removesuffix("\n")

    def ask_block(self, message: str) -> bytes:
        """The data of a block."""
        self._conversation.receive(message.encode() + b"\n")
        reply = self._conversation.collect()
        digits = int(reply[1:2])
        length = int(reply[2 : 2 + digits])
        data = reply[2 + digits : 2 + digits + length]
        assert reply == b"#%d%d" % (digits, length) + data + b"\n"
        return data

    def later(self) -> str:
        """What comes by itself, now that time has passed."""
        self._conversation.resume()
        return self._conversation.collect().decode("latin-1").removesuffix("\n")

    def errors(self) -> list[int]:
        """The numbers in the error queue, which is emptied."""
        return [code for code in map(int, self.ask("SYST:ERR:CODE:ALL?").split(",")) if code]


class Room:
    """A bench with a clock that the test sets."""

    def __init__(self, description: BenchDescription | None = None, **parts: Any) -> None:
        self.now_s = 0.0
        self.bench = SimulatedBench(description or describe(**parts), lambda: self.now_s)
        self.physical_bench = self.bench.physical_bench
        for role, device in self.bench.devices.items():
            setattr(self, role, Talk(Conversation(device)))

    generator: Talk
    oscilloscope: Talk
    load: Talk
    supply: Talk
    thermometer: Talk

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.now_s += seconds

    def power_on(self, *relays: int) -> None:
        """Supply, remote lead, load; then wait until the amplifier plays."""
        self.supply.tell("INST:NSEL 1;:VOLT 14.4;:CURR 110;:OUTP ON", "INST:NSEL 2;:VOLT 12;:CURR 0.5;:OUTP ON")
        if relays:
            self.load.tell("ROUT:CLOS (@{})".format(",".join(map(str, relays))))
        self.wait(2.0)
        assert self.supply.errors() == []

    def play(self, level_v: float, frequency_hz: float = 1000.0) -> None:
        """A constant tone."""
        self.generator.tell(f"FREQ {frequency_hz}", f"VOLT {level_v}", "OUTP ON")

    def burst(self, level_v: float, cycles: int, every_s: float = 0.5) -> None:
        """Bursts of 1 kHz, 20 dB lower between."""
        self.generator.tell(
            "ABOR",
            f"LIST:VOLT {level_v},{level_v / 10}",
            f"LIST:DWEL {cycles * 1e-3:.9f},{every_s - cycles * 1e-3:.9f}",
            "LIST:COUN INF",
            "VOLT:MODE LIST",
            "OUTP ON",
            "INIT",
        )

    def record(self, channel: int, scale_v: float, *, span_s: float, samples: int, pretrigger_s: float = 0.0) -> None:
        """Take a record of one channel, externally triggered, and wait for it."""
        self.oscilloscope.tell(
            *(f"CHAN{number}:DISP {'ON' if number == channel else 'OFF'}" for number in (1, 2, 3, 4)),
            f"CHAN{channel}:SCAL {scale_v}",
            "TIM:REF LEFT",
            f"TIM:SCAL {span_s / 10}",
            f"ACQ:POIN {samples}",
            f"TIM:POS {pretrigger_s}",
            "TRIG:EDGE:SOUR EXT",
            "TRIG:SWE NORM",
            "SING",
        )
        self.wait(2 * span_s + 1.0)
        assert self.oscilloscope.ask("ACQ:COMP?") == "1"

    def volts(self, channel: int) -> NDArray[np.float64]:
        """The record of a channel as the first command set gives it, in volts at the input."""
        self.oscilloscope.tell("WAV:FORM WORD", "WAV:BYT LSBF", f"WAV:SOUR CHAN{channel}")
        preamble = [float(field) for field in self.oscilloscope.ask("WAV:PRE?").split(",")]
        codes = np.frombuffer(self.oscilloscope.ask_block("WAV:DATA?"), "<u2").astype(np.float64)
        return np.asarray((codes - preamble[8] - preamble[9]) * preamble[7])
