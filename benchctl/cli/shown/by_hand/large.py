"""Figures in large characters, to be read from some metres away."""

from __future__ import annotations

_ROWS = 5
# Each character in five rows, with a blank column behind it.
_SHAPES = {
    "0": ("█▀▀█ ", "█  █ ", "█  █ ", "█  █ ", "█▄▄█ "),
    "1": (" ▄█  ", "  █  ", "  █  ", "  █  ", " ▄█▄ "),
    "2": ("▀▀▀█ ", "   █ ", "█▀▀▀ ", "█    ", "█▄▄▄ "),
    "3": ("▀▀▀█ ", "   █ ", " ▀▀█ ", "   █ ", "▄▄▄█ "),
    "4": ("█  █ ", "█  █ ", "▀▀▀█ ", "   █ ", "   █ "),
    "5": ("█▀▀▀ ", "█    ", "▀▀▀█ ", "   █ ", "▄▄▄█ "),
    "6": ("█▀▀▀ ", "█    ", "█▀▀█ ", "█  █ ", "█▄▄█ "),
    "7": ("▀▀▀█ ", "   █ ", "   █ ", "   █ ", "   █ "),
    "8": ("█▀▀█ ", "█  █ ", "█▀▀█ ", "█  █ ", "█▄▄█ "),
    "9": ("█▀▀█ ", "█  █ ", "▀▀▀█ ", "   █ ", "▄▄▄█ "),
    ".": ("   ", "   ", "   ", "   ", "▄  "),
    "-": ("     ", "     ", "▀▀▀▀ ", "     ", "     "),
    "<": ("    ", " ▄▀ ", "▀▄  ", "  ▀ ", "    "),
    " ": ("   ", "   ", "   ", "   ", "   "),
}


def in_large(text: str, *, plain: bool = False) -> list[str]:
    """The rows of a figure. What has no large shape, such as a unit, stands small at its foot.

    Args:
        text: the figure, such as "12.3 V".
        plain: the terminal has ASCII only, so the text stays as it is.
    """
    if plain:
        return [text]
    shapes = [_SHAPES.get(character) or _at_the_foot(character) for character in text]
    return ["".join(shape[row] for shape in shapes).rstrip() for row in range(_ROWS)]


def _at_the_foot(character: str) -> tuple[str, ...]:
    return (*(" ",) * (_ROWS - 1), character)
