"""The further step that tells most of a quantity, as plain text and as data; and the sequence with it as a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from benchctl.errors import UsageError
from benchctl.fit.examination import Examination
from benchctl.fit.findings import quantity_in_words, uncertainty_in_words
from benchctl.fit.told import Quantity
from benchctl.further.advice import Advice, Option
from benchctl.quantity import in_minutes

MOST_SHOWN = 6


def further_in_words(found: Examination, advice: Advice) -> str:
    """All of it."""
    simulated = " Simulated, no measurement." if found.run.is_simulated else ""
    title = f"{found.run.amplifier.title}, run {found.run.name}.{simulated}"
    return "\n".join((title, _now(advice.now), *_advised(advice)))


def _now(now: Quantity) -> str:
    told = f"untold, because {now.untold}" if now.untold else f"{quantity_in_words(now)} (k = 2)"
    return f"{_sentence(now.words)}: {told}."


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:]


def _advised(advice: Advice) -> Iterator[str]:
    if advice.why:
        yield f"{_sentence(advice.why)}."
        return
    best = advice.options[0]
    yield f"The further step that tells most for its time and heat: {best.words}."
    expected = _expected(advice, best)
    now = "untold" if advice.now.untold else uncertainty_in_words(advice.now)
    yield f"After it U is expected to be about {expected}; now it is {now}."
    yield from _table(advice)
    yield (
        "Expected of a run that measures once more what this one has, and the further step. Minutes and heating are of "
        "the further step alone, as preflight reckons them."
    )


def _table(advice: Advice) -> Iterator[str]:
    rows = [(each.words, _expected(advice, each), *_costs(each)) for each in advice.options[:MOST_SHOWN]]
    heads = ("step", "expected U", "minutes", "heating")
    widths = [max(len(row[place]) for row in (heads, *rows)) for place in range(len(heads))]
    for row in (heads, *rows):
        cells = (
            cell.ljust(width) if place == 0 else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        yield f"  {'  '.join(cells)}"


def _costs(option: Option) -> tuple[str, str]:
    return f"{option.cost.duration_s / 60.0:.1f}", f"{option.cost.warms_k:.1f} K"


def _expected(advice: Advice, option: Option) -> str:
    if advice.is_in_proportion:
        return f"{100.0 * advice.expected_u(option, 1.0):.2g} % of it"
    return uncertainty_in_words(option.expected)


def further_as_data(advice: Advice) -> dict[str, Any]:
    """The same, for other programs."""
    return {
        "quantity": advice.now.name,
        "channel": advice.now.channel,
        "unit": advice.now.unit,
        "value": advice.now.value if advice.now.is_told else None,
        "expanded_uncertainty": advice.now.expanded_uncertainty if advice.now.is_told else None,
        "untold": advice.now.untold,
        "none_because": advice.why,
        "further": [
            {
                "step": each.words,
                "expected_uncertainty": None if advice.is_in_proportion else each.expected.expanded_uncertainty,
                "expected_relative_uncertainty": each.expected.expanded_uncertainty / abs(each.expected.value),
                "duration_s": round(each.cost.duration_s, 1),
                "heating_k": round(each.cost.warms_k, 2),
            }
            for each in advice.options
        ],
    }


def write_further(advice: Advice, path: Path) -> str:
    """Write the sequence with the best step; what to say of it.

    Raises:
        UsageError: there is nothing to write, or the file is there already.
    """
    if not advice.options:
        raise UsageError(f"--write-next: there is no step to write: {advice.why}")
    best = advice.options[0]
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(best.text)
    except FileExistsError:
        raise UsageError(f"--write-next: {path} is there already; name a new file") from None
    except OSError as error:
        raise UsageError(f"--write-next: {path} cannot be written: {error.strerror}") from error
    return f"Written: {path}, about {in_minutes(best.cost.whole_s)} long. Look at it with 'benchctl preflight' first."
