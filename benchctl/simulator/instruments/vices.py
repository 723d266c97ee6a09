"""What any instrument may lack or do slowly, as the `simulation: instruments:` section of a bench file says."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from benchctl.documents.bench_file.simulated_instruments import InstrumentSimulation
from benchctl.scpi.device.device import Device, Identity
from benchctl.scpi.device.speaker import Reply, Speaker
from benchctl.simulator.instruments.instrument import Now

# A word that instruments may lack -> the header that they then do not know.
_HEADERS = {
    "*CLS": "*CLS",
    "*ESR?": "*ESR",
    "*OPC?": "*OPC",
    "*RST": "*RST",
    "*STB?": "*STB",
    "STAT:PRES": "STATus:PRESet",
}


def take_away(device: Speaker, simulated: InstrumentSimulation) -> None:
    """Make an instrument lack what others have. One with words of its own says by itself what it knows."""
    device.identity = replace(device.identity, is_short=simulated.identity == "one field")
    if not isinstance(device, Device):
        return
    for word in simulated.lacks:
        device.lack(_HEADERS[word])
    if simulated.identity == "none":
        device.lack("*IDN")
    if simulated.error_queue == "no":
        device.lack("SYSTem:ERRor")


def is_slow(simulated: InstrumentSimulation) -> bool:
    """Whether anything about its messages takes time or is acknowledged."""
    times_s = (simulated.answers_after_s, simulated.busy_after_setting_s, simulated.reset_takes_s)
    return any(times_s) or simulated.acknowledge is not None


class SlowDevice:
    """An instrument that takes its time.

    A question is acted on as soon as the instrument is free, and its answer leaves `answers_after` later. While the
    instrument is busy, messages wait for it in their order.

    Args:
        device: the instrument.
        simulated: how slow it is, and with what it acknowledges what has no answer.
        now: the time.
        holds_answers: whether answers really leave late. Where not, as in virtual time, which stands still while a
            client waits, they leave at once, and `owed_s` tells how long the client would have waited.
    """

    def __init__(self, device: Speaker, simulated: InstrumentSimulation, now: Now, *, holds_answers: bool) -> None:
        self._device = device
        self._simulated = simulated
        self._now = now
        self._holds_answers = holds_answers
        self._free_s = -math.inf

    @property
    def identity(self) -> Identity:
        """Who it is."""
        return self._device.identity

    @identity.setter
    def identity(self, identity: Identity) -> None:
        self._device.identity = identity

    @property
    def owed_s(self) -> float:
        """How long from now a client would wait until the instrument is free again."""
        return max(0.0, self._free_s - self._now())

    def has_come(self, time_s: float) -> bool:
        """Whether it is that late already, where answers really leave late."""
        return not self._holds_answers or self._now() >= time_s

    @property
    def is_free(self) -> bool:
        """Whether it takes the next message."""
        return self.has_come(self._free_s)

    def begin(self, message: bytes) -> Reply:
        """Run one message as soon as the instrument is free."""
        reply = _SlowReply(self, lambda: self._device.begin(message), message)
        reply.resume()
        return reply

    def take_time(self, message: bytes, *, has_answer: bool) -> float:
        """Be busy as long as this message takes, from now on or from when it is free; returns when it is over."""
        simulated = self._simulated
        if has_answer:
            takes_s = simulated.answers_after_s
        else:
            takes_s = simulated.reset_takes_s if b"*RST" in message.upper() else simulated.busy_after_setting_s
        self._free_s = max(self._free_s, self._now()) + takes_s
        return self._free_s

    @property
    def acknowledgement(self) -> bytes | None:
        """What is answered to a message that has no answer."""
        text = self._simulated.acknowledge
        return None if text is None else text.encode("latin-1") + b"\n"

    def restart(self) -> None:
        """Lose the power; it is ready at once afterwards."""
        self._free_s = -math.inf
        self._device.restart()

    def report(self, code: int, info: str = "") -> None:
        """Note an error of the link."""
        self._device.report(code, info)

    def forget_completion(self) -> None:
        """Drop what waits for the end of an operation."""
        self._device.forget_completion()

    def status_byte(self, *, has_message: bool | None = None) -> int:
        """The status byte; a link answers a serial poll by itself, so that takes no time."""
        return self._device.status_byte(has_message=has_message)


class _SlowReply:
    """One message: it waits until the instrument is free, is acted on, and its answer is held as long as that takes."""

    def __init__(self, device: SlowDevice, begin: Callable[[], Reply], message: bytes) -> None:
        self._device = device
        self._begin = begin
        self._message = message
        self._reply: Reply | None = None
        self._over_s: float | None = None
        self.is_finished = False

    @property
    def response(self) -> bytes | None:
        """The answer, or what acknowledges a message that has none."""
        answer = None if self._reply is None else self._reply.response
        return self._device.acknowledgement if answer is None else answer

    def resume(self) -> bool:
        """Go on as far as the instrument is free."""
        if self._over_s is None:
            self._over_s = self._act()
        self.is_finished = self._over_s is not None and self._device.has_come(self._over_s)
        return self.is_finished

    def _act(self) -> float | None:
        """Act on it; returns when its answer may leave, None while it cannot be acted on."""
        if self._reply is None:
            if not self._device.is_free:
                return None
            self._reply = self._begin()
        if not (self._reply.is_finished or self._reply.resume()):
            return None
        has_answer = self._reply.response is not None
        over_s = self._device.take_time(self._message, has_answer=has_answer)
        # What has no answer is done at once; it is the next message that waits.
        return over_s if has_answer else -math.inf
