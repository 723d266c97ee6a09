"""How a supply names the output that a word is for: chosen beforehand, in a channel list, by a word, or not at all."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from typing import Any

from benchctl.errors import UsageError
from benchctl.scpi.device.answers import Answer, Scalar
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import ChannelList, Mnemonic, Parameter
from benchctl.simulator.instruments.supplies.supply import Supply

Do = Callable[..., None]
"""(number of the output, values) -> nothing"""

Ask = Callable[[int], Answer]


class Addressing(ABC):
    """Adds commands and questions to a tree, each for one output."""

    def __init__(self, tree: CommandTree, supply: Supply) -> None:
        self.tree = tree
        self.supply = supply

    @abstractmethod
    def command(self, header: str, do: Do, *parameters: Parameter) -> None:
        """A command with these parameters besides the output."""

    @abstractmethod
    def question(self, header: str, ask: Ask) -> None:
        """A question about an output."""


class Chosen(Addressing):
    """INST CH1 chooses; whatever follows is for that output."""

    def __init__(self, tree: CommandTree, supply: Supply) -> None:
        super().__init__(tree, supply)
        words = {f"CH{number}": number for number in supply.outputs}
        tree.add("INSTrument[:SELect]", set=lambda call: supply.choose(words[call.values[0]]),
                 query=lambda _: f"CH{supply.chosen}", parameters=[Mnemonic(*words)])  # fmt: skip

    def command(self, header: str, do: Do, *parameters: Parameter) -> None:
        """For the chosen output."""
        self.tree.add(header, set=lambda call: do(self.supply.chosen, *call.values), parameters=parameters)

    def question(self, header: str, ask: Ask) -> None:
        """About the chosen output."""
        self.tree.add(header, query=lambda _: ask(self.supply.chosen))


class Single(Chosen):
    """One output: there is nothing to choose, and no word for it."""

    def __init__(self, tree: CommandTree, supply: Supply) -> None:
        Addressing.__init__(self, tree, supply)
        check_single(supply)


class ByList(Addressing):
    """`(@1)` behind everything; several outputs are answered in the order of the list."""

    def _list(self) -> ChannelList:
        return ChannelList(tuple(self.supply.outputs))

    def command(self, header: str, do: Do, *parameters: Parameter) -> None:
        """For each output of the list."""

        def for_each(call: Call) -> None:
            *values, numbers = call.values
            for number in numbers:
                do(number, *values)

        self.tree.add(header, set=for_each, parameters=[*parameters, self._list()])

    def question(self, header: str, ask: Ask) -> None:
        """About each output of the list."""

        def answer(call: Call) -> Sequence[Scalar]:
            return [value for number in call.values[0] for value in _flat(ask(number))]

        self.tree.add(header, query=answer, query_parameters=[self._list()])


class ByWord(Addressing):
    """`CH1` ahead of every value."""

    def command(self, header: str, do: Do, *parameters: Parameter) -> None:
        """For the output of the word."""
        self.tree.add(header, set=lambda call: do(self._number(call.values[0]), *call.values[1:]),
                      parameters=[self._word(), *parameters])  # fmt: skip

    def question(self, header: str, ask: Ask) -> None:
        """About the output of the word."""
        self.tree.add(header, query=lambda call: ask(self._number(call.values[0])), query_parameters=[self._word()])

    def _word(self) -> Mnemonic:
        return Mnemonic(*(f"CH{number}" for number in self.supply.outputs))

    def _number(self, word: Any) -> int:
        return int(str(word).removeprefix("CH"))


def check_single(supply: Supply) -> None:
    """A form with one output cannot serve two.

    Raises:
        UsageError: the bench file names more.
    """
    if len(supply.outputs) > 1:
        raise UsageError(
            f"simulation: a supply that speaks so has one output, and the bench file gives it {len(supply.outputs)}"
        )


def _flat(answer: Answer) -> Sequence[Scalar]:
    return [answer] if isinstance(answer, str | bytes | float | int) else answer
