"""Every word of a load's driver file: each relay alone, or two resistances with the input off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from benchctl.documents.bench_file.bench import InputsByRelay, TurnOnByRelay
from benchctl.documents.bench_file.instruments import ElectronicLoad as ElectronicLoadEntry
from benchctl.documents.bench_file.instruments import RelayBank as RelayBankEntry
from benchctl.instruments.exercise.exercise import Exercise, Plan
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.settings import SettingTrial
from benchctl.instruments.exercise.switches import SwitchTrial
from benchctl.instruments.exercise.talk import ANSWERS
from benchctl.instruments.load import RESISTANCE_TOLERANCE, ElectronicLoad, RelayBank
from benchctl.scpi.errors import FormatError


class RelayExercise(Exercise):
    """Relays are closed one at a time, and all are open before and after."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._relays = tuple(sorted(relays_of(self.file, with_turn_on=False)))
        self._every = tuple(sorted(relays_of(self.file, with_turn_on=True)))
        assert isinstance(self._role, RelayBank)
        self._relay_words = self._role.words

    def plan(self) -> Plan:
        turn_on = sorted(set(self._every) - set(self._relays))
        energising = (
            (f"load: closes relay {turn_on[0]}, which feeds the remote turn-on lead. The amplifier has no supply.",)
            if turn_on
            else ()
        )
        return Plan(
            (f"load: resets it, and closes and opens each of {len(self._relays)} relays alone. No amplifier is on.",),
            energising,
        )

    def any_place(self) -> dict[str, Any]:
        return {"relays": self._every, "relay": self._every[0]}

    def make_off(self) -> bool:
        return self._open_all(self._every)

    def left_on(self) -> tuple[str, ...]:
        closed = self._closed(self._every)
        return (f"relays {_listed(closed)}",) if closed else ()

    @property
    def switched(self) -> tuple[str, ...]:
        return (f"relays {_listed(self._every)}",)

    def make_off_again(self) -> None:
        if self.talk.has("open_all") and not self.talk.findings.has_failed("open_all"):
            self.talk.say("open_all")
        else:
            self._switch("open", self._every)

    def walk(self) -> None:
        self._open_all(self._every)  # preparing a bank may close the relays of inputs
        relays = self._every if self._energises else self._relays
        for relay in relays:
            if not self._close_alone(relay):
                return
        if len(relays) > 1 and "relays" in self.talk.words("close").uses:
            self._several(relays[:2])

    # -- what is tried -----------------------------------------------------------------------------------------

    def _open_all(self, relays: Sequence[int]) -> bool:
        talk = self.talk
        if talk.has("open_all"):
            if not talk.say("open_all"):
                return False
            word = "open_all"
        else:
            word = "open"
            if not self._switch("open", relays):
                return False
        closed = self._closed(relays)
        if closed:
            text = f"after it, relays {_listed(closed)} are still closed"
            talk.note(word, Verdict.WRONG, text, suspects=["get_closed", "first_relay"])
            talk.note("get_closed", Verdict.WRONG, f"says that relays {_listed(closed)} are closed after {word}",
                      suspects=[word])  # fmt: skip
        elif closed is not None:
            talk.note(word, Verdict.ACCEPTED, "all are open, and may have been before")
        return not closed and not talk.findings.has_failed(word, "get_closed")

    def _switch(self, word: str, relays: Sequence[int]) -> bool:
        """One message for all of them, or one each, as the word takes them."""
        if "relay" in self.talk.words(word).uses:
            said = [self.talk.say(word, relay=relay) for relay in relays]  # each of them, whatever becomes of another
            return all(said)
        return self.talk.say(word, **self._relay_words.values(relays, relays if word == "close" else ()))

    def _close_alone(self, relay: int) -> bool:
        talk = self.talk
        if not self._switch("close", [relay]):
            return False
        closed = self._closed(self._every)
        if not self._switch("open", [relay]):
            return False
        after = self._closed(self._every)
        if closed is None or after is None:
            return not talk.has("get_closed") and self._unconfirmed()
        if closed == [relay] and not after:
            for word in ("close", "open", "get_closed"):
                talk.note(word, Verdict.WORKS)
            return True
        self._blame(relay, closed, after)
        return False

    def _blame(self, relay: int, closed: list[int], after: list[int]) -> None:
        talk = self.talk
        if not closed and after == [relay]:
            text, offer = f"after close, relay {relay} is open, and after open it is closed", "exchange close and open"
            talk.note("close", Verdict.WRONG, text, offer=offer, suspects=["open"])
            talk.note("open", Verdict.WRONG, text, offer=offer, suspects=["close"])
        elif closed == [relay]:
            talk.note("open", Verdict.WRONG, f"after it, relay {_listed(after)} is closed; relay {relay} was opened",
                      suspects=["get_closed", "first_relay"])  # fmt: skip
        else:
            told = f"relay {relay} was closed, and {_listed(closed) or 'none'} is told to be"
            talk.note("close", Verdict.WRONG, told, suspects=["get_closed", "first_relay"])
            talk.note("get_closed", Verdict.WRONG, told, suspects=["close"])

    def _several(self, relays: Sequence[int]) -> None:
        """Two relays in one message, which a run sends when it connects a load of several channels."""
        talk = self.talk
        if not self._switch("close", relays):
            return
        closed = self._closed(self._every)
        if closed is not None and closed != sorted(relays):
            text = (
                f"relays {_listed(relays)} were closed with one message, and {_listed(closed) or 'none'} are told to be"
            )
            talk.note("close", Verdict.WRONG, text, suspects=["get_closed", "first_relay"])
        if talk.has("open_all"):
            talk.say("open_all")
            left = self._closed(self._every)
            if left:
                talk.note("open_all", Verdict.WRONG, f"after it, relays {_listed(left)} are still closed")
                self._switch("open", relays)
            elif left is not None:
                talk.note("open_all", Verdict.WORKS)
        else:
            self._switch("open", relays)

    def _unconfirmed(self) -> bool:
        for word in ("close", "open"):
            self.talk.note(
                word, Verdict.ACCEPTED, "there is nothing to confirm it with: look or listen whether it switches"
            )
        return True

    def _closed(self, relays: Sequence[int]) -> list[int] | None:
        """The relays that are told to be closed; None where that is not told, or not as the driver file says."""
        talk = self.talk
        if not talk.has("get_closed"):
            return None
        closed: set[int] = set()
        for question in self._relay_words.questions(relays):
            about = [relay for relay, _ in question.forms]
            answer = talk.ask("get_closed", relays=tuple(about), relay=about[0])
            if answer is None:
                return None
            try:
                closed |= question.closed(answer)
            except FormatError as error:
                talk.note("get_closed", Verdict.WRONG, str(error), suspects=[ANSWERS])
                return None
        return sorted(closed)


class ElectronicExercise(Exercise):
    """Two resistances with the input off; then the input on, with nothing driven."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._input = SwitchTrial(self.talk, "connect", "disconnect", "get_connected", "its input")

    def plan(self) -> Plan:
        return Plan(
            ("load: resets it, and sets two high resistances with its input off.",),
            ("load: switches its input on for a moment. Nothing may drive it: the amplifier has no supply.",),
        )

    def make_off(self) -> bool:
        return self._input.make_off()

    @property
    def switches(self) -> tuple[SwitchTrial, ...]:
        return (self._input,)

    def make_off_again(self) -> None:
        self.talk.say("disconnect")

    def walk(self) -> None:
        entry = self.file.load
        assert isinstance(entry, ElectronicLoadEntry)
        most = entry.ratings.resistance.maximum_ohm
        tries = self.two("resistance", most, most / 2)
        trial = SettingTrial(
            "set_resistance", "get_resistance", "resistance_ohm", "ohm", tries, self._tolerance, sent_as=self._sent
        )
        trial.run(self.talk)
        if self._energises:
            self._input.try_on()
        else:
            self.not_energised("connect")

    def _sent(self, wanted: float) -> dict[str, float | str]:
        assert isinstance(self._role, ElectronicLoad)
        return self._role.values_for(wanted)

    def _tolerance(self, wanted: float) -> float:
        return RESISTANCE_TOLERANCE * wanted + self.half_step("resistance", wanted)


def relays_of(file: Any, *, with_turn_on: bool) -> set[int]:
    """The relays that the bench file uses: loads and inputs, and that of the remote turn-on lead if it is wanted."""
    bank = file.instruments.load
    relays = {resistor.relay for resistor in bank.resistors} if isinstance(bank, RelayBankEntry) else set()
    relays |= set(file.inputs.relays.values()) if isinstance(file.inputs, InputsByRelay) else set()
    lead = file.remote_turn_on
    turn_on = {lead.relay} if isinstance(lead, TurnOnByRelay) else set()
    return relays | turn_on if with_turn_on else relays - turn_on


def _listed(relays: Sequence[int]) -> str:
    return ", ".join(map(str, relays))
