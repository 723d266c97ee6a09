"""Every small change that is made to a module: a statement left out, a constant, a comparison, an operator, a word.

A change keeps all the text around it, so the program is tested with exactly one mistake in it.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass

_COMPARISONS: dict[type[ast.cmpop], tuple[str, ...]] = {
    ast.Lt: ("<=", ">="),
    ast.LtE: ("<", ">"),
    ast.Gt: (">=", "<="),
    ast.GtE: (">", "<"),
    ast.Eq: ("!=",),
    ast.NotEq: ("==",),
    ast.Is: ("is not",),
    ast.IsNot: ("is",),
    ast.In: ("not in",),
    ast.NotIn: ("in",),
}
_OPERATORS: dict[type[ast.operator], str] = {
    ast.Add: "-",
    ast.Sub: "+",
    ast.Mult: "/",
    ast.Div: "*",
    ast.FloorDiv: "*",
    ast.Pow: "*",
    ast.BitAnd: "|",
    ast.BitOr: "&",
}
_SIGNS: dict[type[ast.operator], str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.Div: "/",
    ast.FloorDiv: "//",
    ast.Pow: "**",
    ast.BitAnd: "&",
    ast.BitOr: "|",
}
_ROUNDING = 1e-6  # smaller numbers are allowances for rounding, which may also be twice as large
_TWINS = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Change:
    """One change of a module's text.

    Attributes:
        line: its line, counted from 1.
        what: what is changed into what, for a person.
        text: the whole module with the change made.
    """

    line: int
    what: str
    text: str


def changes_of(text: str) -> list[Change]:
    """All changes of a module, in the order of their lines.

    Text that never runs is not changed: docstrings, annotations, imports, and code under TYPE_CHECKING.
    """
    source = _Source(text)
    found = [change for node in _lived_in(ast.parse(text)) for change in _of_node(node, source)]
    return sorted(filter(_is_a_program, found), key=lambda change: (change.line, change.what))


class _Source:
    """The text of a module, addressed as ast does: by line and by byte within the line."""

    def __init__(self, text: str) -> None:
        self._bytes = text.encode("utf-8")
        self._starts = [0]
        for line in self._bytes.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))

    def of(self, node: ast.expr | ast.stmt) -> str:
        """The text of this node."""
        begin, end = self._span(node)
        return self._bytes[begin:end].decode("utf-8")

    def between(self, left: ast.expr, right: ast.expr) -> tuple[int, int]:
        """The bytes between two nodes, which hold their operator."""
        return self._span(left)[1], self._span(right)[0]

    def replaced(self, node: ast.expr | ast.stmt, words: str) -> str:
        """The whole text with other words for this node."""
        return self.spliced(*self._span(node), words)

    def spliced(self, begin: int, end: int, words: str) -> str:
        """The whole text with other words for these bytes."""
        return (self._bytes[:begin] + words.encode("utf-8") + self._bytes[end:]).decode("utf-8")

    def text_between(self, begin: int, end: int) -> str:
        """These bytes as text."""
        return self._bytes[begin:end].decode("utf-8")

    def _span(self, node: ast.expr | ast.stmt) -> tuple[int, int]:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        begin = self._starts[node.lineno - 1] + node.col_offset
        return begin, self._starts[node.end_lineno - 1] + node.end_col_offset


def _lived_in(node: ast.AST) -> Iterator[ast.AST]:
    """The node and all below it that the program runs."""
    yield node
    for name, value in ast.iter_fields(node):
        if name in {"annotation", "returns", "type_params", "decorator_list"}:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not _is_never_run(child):
                yield from _lived_in(child)


def _is_never_run(node: ast.AST) -> bool:
    match node:
        case ast.Expr(value=ast.Constant()) | ast.Import() | ast.ImportFrom():
            return True
        case ast.Assign(value=ast.Subscript(value=ast.Name(id="Literal" | "Callable" | "NDArray" | "dict"))):
            return True  # for type checkers alone
        case ast.keyword(arg="strict" | "daemon"):  # checks for internal mistakes, and how a process ends
            return True
        case ast.If(test=ast.Name(id="TYPE_CHECKING")):
            return True
    return False


def _is_a_program(change: Change) -> bool:
    """Whether the changed text is valid Python; some changes, such as an empty body, are not."""
    try:
        compile(change.text, "changed", "exec")
    except SyntaxError:
        return False
    return True


def _of_node(node: ast.AST, source: _Source) -> Iterator[Change]:
    for kind, changes in _KINDS:
        if isinstance(node, kind):
            yield from changes(node, source)


def _without(node: ast.stmt, source: _Source) -> Iterator[Change]:
    """A statement that does something is left out."""
    match node:
        case ast.Expr(value=ast.Yield() | ast.YieldFrom()):
            return  # without it a generator is not a generator any more, which any caller notices
        case ast.Return(value=None) | ast.Return(value=ast.Constant(value=None)):
            return
        case ast.Return():
            yield Change(node.lineno, f"left out: {_short(source.of(node))}", source.replaced(node, "return None"))
        case _:
            yield Change(node.lineno, f"left out: {_short(source.of(node))}", source.replaced(node, "pass"))


def _constant(node: ast.Constant, source: _Source) -> Iterator[Change]:
    """A number is doubled and halved, a truth value inverted; texts are for people and are not changed."""
    written = source.of(node)
    match node.value:
        case bool():
            yield _instead(node, source, str(not node.value))
        case 0 | 0.0:
            yield _instead(node, source, "1" if isinstance(node.value, int) else "1.0")
        case int():
            yield _instead(node, source, f"({written} + 1)")
            yield _instead(node, source, f"({written} - 1)")
        case float() if abs(node.value) < _ROUNDING:
            return
        case float():
            yield _instead(node, source, f"({written} * 2)")
            yield _instead(node, source, f"({written} / 2)")


def _comparison(node: ast.Compare, source: _Source) -> Iterator[Change]:
    """Each comparison loses or gains its boundary, and is reversed."""
    operands = [node.left, *node.comparators]
    for operator, left, right in zip(node.ops, operands, operands[1:], strict=False):
        begin, end = source.between(left, right)
        for other in _COMPARISONS[type(operator)]:
            between = source.text_between(begin, end)
            written = between.strip(" ()\n")
            changed = between.replace(written, other, 1)
            yield Change(
                node.lineno, f"{_short(source.of(node))}: {written} -> {other}", source.spliced(begin, end, changed)
            )


def _operation(node: ast.BinOp, source: _Source) -> Iterator[Change]:
    """Plus becomes minus, times becomes divided by, and the reverse."""
    if type(node.op) not in _OPERATORS or (isinstance(node.left, ast.Constant) and isinstance(node.left.value, str)):
        return
    sign, other = _SIGNS[type(node.op)], _OPERATORS[type(node.op)]
    begin, end = source.between(node.left, node.right)
    changed = source.text_between(begin, end).replace(sign, other, 1)
    what = f"{_short(source.of(node))}: {sign} -> {other}"
    yield Change(node.lineno, what, source.spliced(begin, end, changed))


def _connection(node: ast.BoolOp, source: _Source) -> Iterator[Change]:
    """And becomes or, and the reverse, in all places of one chain at once."""
    word, other = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
    parts = [f"({source.of(value)})" for value in node.values]
    what = f"{_short(source.of(node))}: {word} -> {other}"
    yield Change(node.lineno, what, source.replaced(node, f"({f' {other} '.join(parts)})"))


def _negation(node: ast.UnaryOp, source: _Source) -> Iterator[Change]:
    """A `not` or a minus sign is lost."""
    if isinstance(node.op, ast.Not | ast.USub) and not isinstance(node.operand, ast.Constant):
        yield _instead(node, source, f"({source.of(node.operand)})")


def _call(node: ast.Call, source: _Source) -> Iterator[Change]:
    """min and max are exchanged, and so are all and any."""
    if isinstance(node.func, ast.Name) and node.func.id in _TWINS:
        yield _instead(node.func, source, _TWINS[node.func.id])


def _condition(node: ast.IfExp, source: _Source) -> Iterator[Change]:
    """The other one of two values."""
    body, test, other = source.of(node.body), source.of(node.test), source.of(node.orelse)
    yield _instead(node, source, f"(({other}) if ({test}) else ({body}))")


def _instead(node: ast.expr, source: _Source, words: str) -> Change:
    return Change(node.lineno, f"{_short(source.of(node))} -> {_short(words)}", source.replaced(node, words))


def _short(words: str) -> str:
    """On one line, and not too long for a table."""
    line = " ".join(words.split())
    return line if len(line) <= 70 else f"{line[:67]}..."


_Changes = Callable[..., Iterator[Change]]
_DOING = (ast.Expr, ast.Assign, ast.AugAssign, ast.Return, ast.Raise, ast.Delete, ast.Continue, ast.Break)
_KINDS: tuple[tuple[type | tuple[type, ...], _Changes], ...] = (
    (_DOING, _without),
    (ast.Constant, _constant),
    (ast.Compare, _comparison),
    (ast.BinOp, _operation),
    (ast.BoolOp, _connection),
    (ast.UnaryOp, _negation),
    (ast.Call, _call),
    (ast.IfExp, _condition),
)
