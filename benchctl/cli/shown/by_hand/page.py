"""The terminal of a person who drives by hand: it shows the run and what the keys do, and takes the keys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console, RenderableType

from benchctl.cli.shown.by_hand.keys import Keys, keys_of_terminal
from benchctl.cli.shown.live.panel import LivePanel
from benchctl.cli.shown.views import LiveView, on_whole_terminal
from benchctl.runner.acting.desk import Readings, Wish, WishKind
from benchctl.runner.acting.run import Run

_WISHES: dict[str, WishKind] = {
    "o": "switch",
    " ": "drive",
    "up": "louder",
    "down": "softer",
    "page up": "much louder",
    "page down": "much softer",
    "right": "higher",
    "left": "lower",
    "l": "load",
    "b": "bursts",
    "d": "channel",
    "h": "hold",
    "c": "keep",
    "q": "end",
}
KEYS_IN_WORDS = (
    "o on/off   space signal on/off   up/down 1 dB   page up/down 6 dB   left/right frequency   l load",
    "b bursts or tone   d driven channel   h hold   c keep a record   n note   q end   any other key: I am here",
)


class Page(LiveView):
    """The terminal of a person who drives by hand: it shows the run, and it is the desk whose keys the run obeys."""

    def __init__(self, keys: Keys) -> None:
        super().__init__()
        self._keys = keys
        self._written: str | None = None

    # -- as a desk -----------------------------------------------------------------------------------------------

    def wishes(self) -> Sequence[Wish]:
        """What the keys since the last call ask for."""
        return [self._wish_of(key) for key in self._keys.pressed()]

    def show(self, readings: Readings) -> None:
        self.seen.shown(readings)

    def _wish_of(self, key: str) -> Wish:
        if self._written is not None:
            return self._written_on(key)
        if key == "n":
            self._written = ""
            return Wish("present")
        return Wish(_WISHES.get(key, "present"))

    def _written_on(self, key: str) -> Wish:
        """A note goes on until Enter; the escape key gives it up."""
        written = self._written or ""
        match key:
            case "enter":
                self._written = None
                return Wish("note", written)
            case "\x1b":
                self._written = None
            case "backspace":
                self._written = written[:-1]
            case _ if len(key) == 1 and key.isprintable():
                self._written = written + key
        return Wish("present")

    # -- what is seen --------------------------------------------------------------------------------------------

    def _title_of(self, run: Run) -> str:
        return run.files.amplifier.title

    def __rich__(self) -> RenderableType:
        is_writing = self._written is not None
        return LivePanel(self.seen.now(), (*self.foot, *self._below()), keeps_foot=is_writing)

    def _below(self) -> Sequence[str]:
        if self._written is not None:
            return (f"note: {self._written}_   (Enter keeps it, Esc does not)",)
        return KEYS_IN_WORDS


@contextmanager
def page_of_terminal(console: Console) -> Iterator[Page]:
    """The page, on the whole terminal, which is as it was afterwards.

    Raises:
        UsageError: standard input is no terminal.
    """
    with keys_of_terminal() as keys:
        page = Page(keys)
        with on_whole_terminal(page, console):
            yield page
