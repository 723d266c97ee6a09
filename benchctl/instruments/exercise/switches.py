"""One switch: what switches on, what switches off, and what answers which it is. Off comes first, and last."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Value
from benchctl.errors import quote
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.suggest import truth_form, written
from benchctl.instruments.exercise.talk import ANSWERS, Talk
from benchctl.scpi.errors import FormatError

# An output takes some time to rise, a relay to close (common practice).
RISE_S = 0.5

Seen = Callable[[], bool | None]


@dataclass
class SwitchTrial:
    """The words of a switch.

    Attributes:
        on, off, gets: the words.
        what: in words, such as "output 'main'".
        values: such as the output's number.
        seen: whether it is on as another question shows it, such as a voltage at the output; None where that cannot be
            told.
    """

    talk: Talk
    on: str
    off: str
    gets: str
    what: str
    values: Mapping[str, Value] = field(default_factory=dict)
    seen: Seen = lambda: None
    _heard: list[tuple[str, bool]] = field(default_factory=list)

    def says_off(self) -> bool:
        """Before anything is sent: whether it is off, as far as it can say. An amplifier may be connected to it."""
        before = self._state(meant=False)
        if before:
            self._stop_because_on()
        return before is False or not self.talk.has(self.gets)

    def make_off(self) -> bool:
        """It is off already; it must stay so when it is switched off."""
        if not self.talk.say(self.off, **self.values):
            return False
        after = self._state(meant=False)
        if after:
            self._says_on_after_off()
            return False
        self.talk.note(
            self.off, Verdict.ACCEPTED, "" if self.talk.has(self.gets) else "there is nothing to confirm it with"
        )
        return after is not None or not self.talk.has(self.gets)

    def try_on(self) -> bool:
        """On for a moment, then off; only after `make_off`, and after a person has agreed."""
        talk = self.talk
        if not talk.say(self.on, **self.values):
            self._off_again()
            return False
        talk.sleep(RISE_S)
        is_on, shows = self._state(meant=True), self.seen()
        self._off_again()
        is_off = self._state(meant=False)
        if not talk.has(self.gets):
            self._judge_unconfirmed(shows)
        elif is_on and is_off is False:
            for word in (self.on, self.off, self.gets):
                talk.note(word, Verdict.WORKS)
            return True
        else:
            self._blame(is_on, is_off, shows)
        return not talk.findings.has_failed(self.on, self.off, self.gets)

    def is_off(self) -> bool:
        """Whether it says that it is off; also where it cannot say and was told to be."""
        return not self.talk.has(self.gets) or self._state(meant=False) is False

    # -- what is found -----------------------------------------------------------------------------------------

    def _state(self, *, meant: bool) -> bool | None:
        """Whether it says that it is on; None where it has no such question or the answer cannot be read."""
        if not self.talk.has(self.gets):
            return None
        answer = self.talk.ask(self.gets, **self.values)
        if answer is None:
            return None
        self._heard.append((answer, meant))
        query: Query = self.talk.words(self.gets)
        try:
            return query.form_for(**self.values).truth(answer)
        except FormatError as error:
            self.talk.note(
                self.gets, Verdict.WRONG, f"with {self.what} off: {error}", offer=self._offer(), suspects=[ANSWERS]
            )
            return None

    def _offer(self) -> str:
        query: Query = self.talk.words(self.gets)
        form = truth_form(query, self._heard)
        return "" if form is None else f"write `{written(self.gets, query, form)}`"

    def _stop_because_on(self) -> None:
        query: Query = self.talk.words(self.gets)
        answer = self._heard[-1][0]
        exchanged = replace(query.form, yes=query.form.no, no=query.form.yes)
        self.talk.note(
            self.gets,
            Verdict.WRONG,
            f"answers {quote(answer)}, which means here that {self.what} is on; nothing was sent. If its panel shows "
            "it on, switch it off there and start again. If its panel shows it off, yes and no are exchanged",
            offer=f"write `{written(self.gets, query, exchanged)}`",
        )

    def _says_on_after_off(self) -> None:
        """It was off, was switched off, and is on: the words are exchanged. The other one is the only way back."""
        self.talk.say(self.on, **self.values)
        back = self._state(meant=False)
        text = f"{self.what} was off, and this word switched it on"
        offer = f"exchange the lines of {self.on} and {self.off}"
        self.talk.note(self.off, Verdict.WRONG, text, offer=offer, suspects=[self.on, self.gets])
        if back is not False:
            self.talk.note(self.off, Verdict.WRONG, f"{text}; it is still on: switch it off by hand")
        self.talk.note(self.on, Verdict.WRONG, f"it switched {self.what} off", offer=offer, suspects=[self.off])

    def _off_again(self) -> None:
        self.talk.say(self.off, **self.values)

    def _judge_unconfirmed(self, shows: bool | None) -> None:
        for word in (self.on, self.off):
            if shows:
                self.talk.note(word, Verdict.WORKS)
            elif shows is None:
                self.talk.note(word, Verdict.ACCEPTED, "there is nothing to confirm it with")
        if shows is False:
            self.talk.note(self.on, Verdict.WRONG, f"after it nothing is to be seen at {self.what}")

    def _blame(self, is_on: bool | None, is_off: bool | None, shows: bool | None) -> None:
        """`is_on` and `is_off` are the answers after each word."""
        talk = self.talk
        if is_on is None:
            return  # the answer could not be taken, which is noted already
        if not is_on and is_off:
            text = f"after {self.on} it says off, and after {self.off} on"
            for word, others in ((self.on, [self.off, self.gets]), (self.off, [self.on, self.gets])):
                talk.note(
                    word, Verdict.WRONG, text, offer=f"exchange the lines of {self.on} and {self.off}", suspects=others
                )
        elif not is_on and shows:
            talk.note(self.gets, Verdict.WRONG, f"says that {self.what} is off, while a voltage is measured there",
                      offer=self._offer())  # fmt: skip
        elif not is_on:
            text = f"after it {self.what} still says that it is off"
            talk.note(self.on, Verdict.WRONG, text, suspects=[self.gets])
            if shows is None:
                talk.note(self.gets, Verdict.WRONG, "says off whatever is done", suspects=[self.on])
        else:
            text = f"after it {self.what} still says that it is on: switch it off by hand"
            talk.note(self.off, Verdict.WRONG, text, suspects=[self.gets])
