"""Figures and capital letters in large characters, to be read from some metres away."""

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
    "+": ("     ", "  █  ", "▀▀█▀▀", "  █  ", "     "),
    "<": ("    ", " ▄▀ ", "▀▄  ", "  ▀ ", "    "),
    " ": ("   ", "   ", "   ", "   ", "   "),
    ":": ("   ", "▀  ", "   ", "▀  ", "   "),
    "/": ("   █ ", "  █  ", " █   ", "█    ", "     "),
    "A": ("█▀▀█ ", "█  █ ", "█▀▀█ ", "█  █ ", "█  █ "),
    "B": ("█▀▀▄ ", "█  █ ", "█▀▀▄ ", "█  █ ", "█▄▄▀ "),
    "C": ("█▀▀▀ ", "█    ", "█    ", "█    ", "█▄▄▄ "),
    "D": ("█▀▀▄ ", "█  █ ", "█  █ ", "█  █ ", "█▄▄▀ "),
    "E": ("█▀▀▀ ", "█    ", "█▀▀▀ ", "█    ", "█▄▄▄ "),
    "F": ("█▀▀▀ ", "█    ", "█▀▀▀ ", "█    ", "█    "),
    "G": ("█▀▀▀ ", "█    ", "█ ▀█ ", "█  █ ", "█▄▄█ "),
    "H": ("█  █ ", "█  █ ", "█▀▀█ ", "█  █ ", "█  █ "),
    "I": ("▀█▀ ", " █  ", " █  ", " █  ", "▄█▄ "),
    "L": ("█    ", "█    ", "█    ", "█    ", "█▄▄▄ "),
    "N": ("█▄ █ ", "█▀▄█ ", "█ ▀█ ", "█  █ ", "█  █ "),
    "O": ("█▀▀█ ", "█  █ ", "█  █ ", "█  █ ", "█▄▄█ "),
    "P": ("█▀▀█ ", "█  █ ", "█▀▀▀ ", "█    ", "█    "),
    "R": ("█▀▀█ ", "█  █ ", "█▀█▀ ", "█ ▀▄ ", "█  █ "),
    "S": ("█▀▀▀ ", "█    ", "▀▀▀█ ", "   █ ", "▄▄▄█ "),
    "T": ("▀▀█▀▀ ", "  █   ", "  █   ", "  █   ", "  █   "),
    "U": ("█  █ ", "█  █ ", "█  █ ", "█  █ ", "█▄▄█ "),
    "Y": ("█  █ ", "█  █ ", "▀▄▄▀ ", " ██  ", " ██  "),
}


def has_large(text: str) -> bool:
    """Whether each of its characters has a large shape."""
    return all(character in _SHAPES for character in text)


def in_large(text: str, *, plain: bool = False) -> list[str]:
    """The rows of a figure or of a headline. The unit of a figure stands small at its foot, as does what has no large
    shape.

    Args:
        text: such as "12.3 V" or "SIGNAL ON".
        plain: the terminal has ASCII only, so the text stays as it is.
    """
    if plain:
        return [text]
    is_figure = any(map(str.isdigit, text))
    shapes = [
        _at_the_foot(each) if each not in _SHAPES or (is_figure and each.isalpha()) else _SHAPES[each] for each in text
    ]
    return ["".join(shape[row] for shape in shapes).rstrip() for row in range(_ROWS)]


def _at_the_foot(character: str) -> tuple[str, ...]:
    return (*(" ",) * (_ROWS - 1), character)
