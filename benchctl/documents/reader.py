"""Reads a document: file -> tree -> model, and every problem of a file at once, each with its line and column."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Literal, TypeVar, get_args

from pydantic import ValidationError

from benchctl import library
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.instruments import Instrument
from benchctl.documents.bridging import amplifier_as_tested
from benchctl.documents.calibrating import CALIBRATION, strangers
from benchctl.documents.calibrating import joined as joined_with_calibration
from benchctl.documents.calibration_file.calibration import Calibration
from benchctl.documents.driver_file.common import DriverFile
from benchctl.documents.driver_file.driver import Driver, driver_class
from benchctl.documents.driver_file.language.self_contained import BASED_ON, as_text, joined, with_answers
from benchctl.documents.fitting import misfit
from benchctl.documents.logo import check_logo
from benchctl.documents.model.model_base import Document, PathProblem, PathProblems, Reading, Source
from benchctl.documents.model.sentences import Found, located, sentences
from benchctl.documents.sequence_file.references import STAND_IN, known_of, resolve
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.documents.text.joined import whole_text
from benchctl.documents.text.position import Position, position_after, position_of
from benchctl.documents.text.syntax import LINE_END
from benchctl.documents.text.tree import LONGEST_FILE_BYTES, Table, parse_tree
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import DocumentError, Problem, UsageError, quote

Kind = Literal["bench", "amplifier", "sequence", "driver", "calibration"]
KINDS: tuple[Kind, ...] = get_args(Kind)
VERSION = "1"
MOST_PROBLEMS = 50  # a person corrects a few at a time; the rest only pushes the first off the screen

# Where those that ship stand; a calibration is always the user's own.
_SHELVES: Mapping[Kind, library.Shelf] = {
    "bench": "benches",
    "amplifier": "amplifiers",
    "sequence": "sequences",
    "driver": "drivers",
}
_D = TypeVar("_D", bound=Document)


def load_bench(
    reference: str | Path,
    near: Path | None = None,
    *,
    joins_calibration: bool = True,
    needs_calibration: bool = True,
) -> Bench:
    """The bench file at a path, or a shipped one by name, with its drivers; those are looked for in the folder `near`,
    if given. Without its calibration file its own values stand: who switches off needs none of them. Who writes that
    file does not need it to be there yet.

    Raises:
        DocumentError: it is wrong; every problem with its place.
        UsageError: there is no such file, or it cannot be opened.
    """
    source = read_source(library.find(_SHELVES["bench"], str(reference)))
    if near is not None:
        source = replace(source, path=near / Path(source.name).name)
    document = read(source, "bench", joins_calibration=joins_calibration, needs_calibration=needs_calibration)
    assert isinstance(document, Bench)
    return document


def load_kept_bench(path: Path, drivers: Mapping[str, Path] | None = None) -> Bench:
    """A bench file as a run has kept it.

    Args:
        path: of the kept file.
        drivers: role -> driver file, as the run has kept them. Without, the bench is read but not its drivers: nobody
            needs them to know what the bench was.

    Raises:
        DocumentError: it is wrong; every problem with its place.
        UsageError: it cannot be opened.
    """
    source = read_source(path)
    with _shown_lines(source):
        tree, problems = parse_tree(source.text, source.name)
        document = _document(source, tree, "bench", Reading(problems_found=_found(problems), looks_for_drivers=False))
        assert isinstance(document, Bench)
        if drivers is not None:
            document._drivers = _drivers_of(document, tree, lambda role, _: load_driver(_kept_driver(role, drivers)))
    return document


def _kept_driver(role: str, drivers: Mapping[str, Path]) -> Path:
    if role not in drivers:
        raise UsageError(f"no driver file was kept for the {role}")
    return drivers[role].absolute()  # seen from any folder


def load_amplifier(reference: str | Path) -> Amplifier:
    """The amplifier file at a path, or a shipped one by name; errors as for `load_bench`."""
    return _load(reference, "amplifier", Amplifier)


def load_sequence(
    reference: str | Path, amplifier: Amplifier | None = None, settings: Mapping[str, str] | None = None
) -> Sequence:
    """The sequence file at a path, or a shipped one by name, its references resolved.

    Args:
        reference: path or name.
        amplifier: what references to the amplifier file stand for; a plausible one unless given.
        settings: parameters set for this run, as written: `{"supply": "13.8V"}`.

    Raises:
        DocumentError: it is wrong; every problem with its place.
        UsageError: there is no such file, or a setting that the sequence cannot have.
    """
    source = read_source(library.find(_SHELVES["sequence"], str(reference)))
    document = read(source, "sequence", amplifier, settings)
    assert isinstance(document, Sequence)
    if document.bridged is None or amplifier is None or not amplifier.bridged:
        return document
    # What it refers to of the amplifier, such as the rated loads, is that of the pair.
    bridged = read(source, "sequence", amplifier_as_tested(amplifier, document), settings)
    assert isinstance(bridged, Sequence)
    return bridged


def load_driver(reference: str | Path, near: Path | None = None) -> Driver:
    """The driver file that a bench file refers to; `near` is the bench file's folder, or the bench file itself."""
    folder = near.parent if near is not None and near.is_file() else near
    source = read_source(library.find("drivers", str(reference), folder))
    return _driver_in(source) if BASED_ON in source.text else _kept_driver_in(source)


def _driver_in(source: Source) -> Driver:
    document = read(source, "driver")
    assert isinstance(document, Driver)
    return document


# Benches share drivers, and nobody can change a document. What is based on another file changes with it.
_kept_driver_in = lru_cache(maxsize=64)(_driver_in)


def read_any(reference: str | Path) -> Document:
    """The document at a path, of whatever kind its first line says; errors as for `load_bench`."""
    path = Path(reference)
    if not path.is_file():
        path = _find_anywhere(str(reference))
    return read(read_source(path), None)


def _find_anywhere(reference: str) -> Path:
    for shelf in _SHELVES.values():
        try:
            return library.find(shelf, reference)
        except UsageError:
            continue
    raise UsageError(f"there is no file {quote(reference)}")


def _load(reference: str | Path, kind: Kind, model: type[_D]) -> _D:
    document = read(read_source(library.find(_SHELVES[kind], str(reference))), kind)
    assert isinstance(document, model)
    return document


def read_source(path: Path) -> Source:
    """The text of a file, bounded and decoded.

    Raises:
        DocumentError: too long for a document, or not UTF-8.
        UsageError: it cannot be opened.
    """
    try:
        with path.open("rb") as file:
            content = file.read(LONGEST_FILE_BYTES + 1)
    except OSError as error:
        raise UsageError(f"cannot read {quote(path)}: {error.strerror or error}") from None
    if len(content) > LONGEST_FILE_BYTES:
        most = LONGEST_FILE_BYTES // 1000
        raise DocumentError(
            [Problem(str(path), 1, 1, f"the file is longer than {most} kB, so it is not a benchctl document")]
        )
    try:
        return Source(str(path), path, content.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        position = position_after(content[: error.start].decode("utf-8", "replace"))
        raise DocumentError(
            [Problem(str(path), *position, "this byte is not UTF-8 text; save the file as UTF-8")]
        ) from None


def read(
    source: Source,
    kind: Kind | None,
    amplifier: Amplifier | None = None,
    settings: Mapping[str, str] | None = None,
    *,
    joins_calibration: bool = True,
    needs_calibration: bool = True,
) -> Document:
    """The document in `source`; `kind` is the one wanted, None for any. See `load_sequence` for
    the next two, and `load_bench` for the last two.

    Raises:
        DocumentError: it is wrong; every problem with its place.
    """
    with _shown_lines(source):
        tree, problems = parse_tree(source.text, source.name)
        reading = Reading(
            folder=source.folder,
            known=STAND_IN if amplifier is None else known_of(amplifier),
            amplifier_file=amplifier.source.name if amplifier is not None else "the amplifier file",
            settings=settings or {},
            joins_calibration=joins_calibration,
            needs_calibration=needs_calibration,
            problems_found=_found(problems),
        )
        document = _document(source, tree, kind, reading)
        if isinstance(document, Bench):
            near = document.source.folder
            document._drivers = _drivers_of(document, tree, lambda _, each: load_driver(each.driver, near))
        return document


@contextmanager
def _shown_lines(source: Source) -> Iterator[None]:
    """Give each problem of this file the line that it stands in; those of another file have theirs."""
    try:
        yield
    except DocumentError as error:
        lines = LINE_END.split(source.text)
        raise DocumentError(
            [
                replace(problem, source_line=lines[problem.line - 1])
                if problem.file == source.name and problem.line <= len(lines)
                else problem
                for problem in error.problems
            ]
        ) from None


def _found(problems: Iterable[Problem]) -> list[tuple[Position, str]]:
    return [(Position(problem.line, problem.column), problem.message) for problem in problems]


def _document(source: Source, tree: object, kind: Kind | None, reading: Reading) -> Document:
    document = _read_tree(tree, kind, reading)
    if reading.problems_found or document is None:
        raise DocumentError(_problems(source.name, reading.told()))
    document._source = source
    return document


def _drivers_of(bench: Bench, tree: object, load: Callable[[str, Instrument], Driver]) -> Mapping[str, Driver]:
    """Read the driver of every role of a bench: each must be right, and be for the role it is named under.

    Raises:
        DocumentError: the problems of the driver files, and of the bench file where it names the wrong one.
    """
    drivers: dict[str, Driver] = {}
    problems: list[Problem] = []
    for role, instrument in bench.instruments.items():
        try:
            drivers[role] = load(role, instrument)
        except DocumentError as error:
            problems.extend(error.problems)
            continue
        problem = _driver_problem(role, instrument, drivers[role])
        for position, message in located(
            [PathProblem(("instruments", role, "driver"), problem)] if problem else [], tree
        ):
            problems.append(Problem(bench.source.name, *position, message))
    if problems:
        raise DocumentError(problems)
    return drivers


def _driver_problem(role: str, instrument: Instrument, driver: Driver) -> str:
    """Why `driver` will not do for an instrument of a bench, or an empty text."""
    if driver.role != role:
        return f"{quote(instrument.driver)} drives {_article(driver.role)}; {_article(role)} is wanted here"
    kind_here, kind_driven = getattr(instrument, "kind", ""), getattr(driver, "kind", "")
    if kind_here != kind_driven:
        return f"{quote(instrument.driver)} drives a load of kind '{kind_driven}'; this load is of kind '{kind_here}'"
    return misfit(instrument, driver)


def _read_tree(tree: object, wanted: Kind | None, reading: Reading) -> Document | None:
    if not isinstance(tree, Table):
        begins = f"'benchctl: {wanted or 'sequence'} {VERSION}'"
        message = f"{describe(tree)} is written where a document belongs; it begins with {begins}"
        reading.problems_found.append((position_of(tree), message))
        return None
    kind = _kind(tree, wanted, reading)
    if kind is None:
        return None
    body = tree.without(["benchctl"])
    if kind == "sequence":
        body = resolve(body, reading)
    try:
        if kind == "driver":
            return _driver(body, reading)
        if kind == "bench" and CALIBRATION in body and reading.joins_calibration:
            return _calibrated_bench(body, reading)
        document = _MODELS[kind].model_validate(body, context=reading)
        if isinstance(document, Bench) and reading.joins_calibration and reading.looks_for_drivers:
            check_logo(document, reading.folder)
        return document
    except PathProblems as error:
        reading.problems_found.extend(located(error.problems, body))
    except ValidationError as error:
        reading.problems_found.extend(sentences(error))
    return None


def _driver(own: Table, reading: Reading) -> Document:
    body = joined(own, _base_of(own, reading)) if BASED_ON in own else own
    document = driver_class(body).model_validate(with_answers(body), context=reading)
    assert isinstance(document, DriverFile)
    if BASED_ON in own:
        document._whole_text = as_text(body)
    return document


def _base_of(own: Table, reading: Reading) -> Table:
    """The tree of the driver file that another is based on; that file must be right by itself.

    Raises:
        DocumentError: it is not; its own problems.
        PathProblems: there is no such file.
    """
    try:
        path = library.find("drivers", str(own[BASED_ON]), reading.folder)
    except UsageError as error:
        raise PathProblems([PathProblem((BASED_ON,), str(error))]) from None
    source = read_source(path)
    tree, _ = parse_tree(source.text, source.name)
    if isinstance(tree, Table) and BASED_ON not in tree:
        read(source, "driver")
    return tree if isinstance(tree, Table) else Table()


def _calibrated_bench(own: Table, reading: Reading) -> Bench:
    """A bench whose values a calibration file has measured. Both files must be right by themselves.

    Raises:
        DocumentError: the calibration file is wrong, or is of another bench; its problems.
        PathProblems: there is no such file.
        UsageError: it cannot be opened.
    """
    by_itself = Bench.model_validate(own.without([CALIBRATION]), context=reading)
    path = (reading.folder or Path()) / str(own[CALIBRATION])
    if not path.is_file() and not reading.needs_calibration:
        check_logo(by_itself, reading.folder)
        return by_itself
    if not path.is_file():
        message = (
            f"there is no file {quote(own[CALIBRATION])} beside this one; `benchctl calibrate --out` writes it, or "
            "leave out 'calibration'"
        )
        raise PathProblems([PathProblem((CALIBRATION,), message)])
    source = read_source(path)
    calibration = read(source, "calibration")
    assert isinstance(calibration, Calibration)
    tree, _ = parse_tree(source.text, source.name)
    assert isinstance(tree, Table)
    with _shown_lines(source):
        if problems := _problems(source.name, list(located(strangers(calibration, by_itself), tree))):
            raise DocumentError(problems)
    body = joined_with_calibration(own, by_itself, tree, calibration)
    bench = Bench.model_validate(body, context=reading)
    check_logo(bench, reading.folder)
    bench._whole_text = whole_text(f"bench {VERSION}", body)
    return bench


_MODELS: Mapping[Kind, type[Document]] = {
    "bench": Bench,
    "amplifier": Amplifier,
    "sequence": Sequence,
    "calibration": Calibration,
}


_HEADER = re.compile(r"([a-z]+) ([0-9]+)")


def _kind(tree: Table, wanted: Kind | None, reading: Reading) -> Kind | None:
    """The document's kind; None, with the fault noted, if it is not to be read any further."""
    form = f"'benchctl: {wanted or 'sequence'} {VERSION}'"
    header = tree.get("benchctl", "")
    if "benchctl" not in tree:
        reading.problems_found.append((tree.position, f"the first line is missing; a document begins with {form}"))
        return wanted
    if next(iter(tree)) != "benchctl":
        reading.problems_found.append((tree.key_position("benchctl"), "the line 'benchctl: ...' must be the first one"))
    return _header_kind(header, wanted, form, reading)


def _header_kind(header: object, wanted: Kind | None, form: str, reading: Reading) -> Kind | None:
    match = _HEADER.fullmatch(header) if isinstance(header, str) else None
    if match is None:
        reading.problems_found.append(
            (position_of(header), f"{describe(header)} is not a kind and version; write {form}")
        )
        return wanted
    kind = next((known for known in KINDS if known == match.group(1)), None)
    if kind is None:
        reading.problems_found.append((position_of(header), unknown(match.group(1), KINDS, "kind of document")))
    elif wanted is not None and kind != wanted:
        message = f"this is {_article(kind)} file; {_article(wanted)} file is wanted here"
        reading.problems_found.append((position_of(header), message))
        return None
    if match.group(2) != VERSION:
        message = f"version {match.group(2)} is not known; this program reads version {VERSION}"
        reading.problems_found.append((position_of(header), message))
        return None
    return kind


def _article(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


def _problems(file: str, problems_found: list[Found]) -> list[Problem]:
    """The faults in the order of the file, each once, the first few dozen of them."""
    ordered = sorted(
        dict.fromkeys(problems_found), key=lambda problem: problem[0]
    )  # stable: in one place, in the model's order
    problems = [Problem(file, *position, message) for position, message in ordered[:MOST_PROBLEMS]]
    left = len(ordered) - MOST_PROBLEMS
    if left > 0:
        position, _ = ordered[MOST_PROBLEMS]
        problems.append(Problem(file, *position, f"and {left} more from here on"))
    return problems
