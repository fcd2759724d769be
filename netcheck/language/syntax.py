"""From the text of an expression to a syntax tree of allowed nodes only; never compiled, never executed."""

from __future__ import annotations

import ast
from dataclasses import dataclass

from netcheck.ground.problems import Problem
from netcheck.ground.yamltext import Text

MOST_LETTERS = 1000
MOST_LEVELS = 40

_ALLOWED: dict[type[ast.AST], str] = {
    ast.Expression: "", ast.BoolOp: "", ast.And: "", ast.Or: "", ast.UnaryOp: "", ast.Not: "", ast.USub: "",
    ast.UAdd: "", ast.BinOp: "", ast.Add: "", ast.Sub: "", ast.Mult: "", ast.Div: "", ast.Mod: "", ast.Pow: "",
    ast.Compare: "", ast.Eq: "", ast.NotEq: "", ast.Lt: "", ast.LtE: "", ast.Gt: "", ast.GtE: "", ast.In: "",
    ast.NotIn: "", ast.Is: "", ast.IsNot: "", ast.IfExp: "", ast.Call: "", ast.keyword: "", ast.Attribute: "",
    ast.Name: "", ast.Load: "", ast.Store: "", ast.Constant: "", ast.List: "", ast.GeneratorExp: "",
    ast.comprehension: "",
}  # fmt: skip

# Allowed, and nothing is in them.
_LEAVES = frozenset(kind for kind in _ALLOWED if not kind._fields) | {ast.Constant}

_INSTEAD: dict[type[ast.AST], str] = {
    ast.ListComp: "write list(… for x in …) instead of [ … for … ]",
    ast.Tuple: "write a list: [a, b]",
    ast.Lambda: "there are no functions of your own; use let",
    ast.Subscript: "there are no subscripts; use first(…) or an attribute",
    ast.JoinedStr: "there is no text building; sentences use {{ }}",
    ast.Dict: "there are no tables in an expression; use tables",
    ast.NamedExpr: "there is no assignment; use let",
}


@dataclass(frozen=True, slots=True)
class Mistake:
    """Something wrong in an expression: the scalar that holds it, the offset in its text, and what."""

    source: Text
    offset: int
    what: str

    def problem(self, file: str) -> Problem:
        """The mistake with line and column; for a scalar of several lines, its first line and the words around."""
        source, text = self.source, self.source.text
        if source.style == "block" or "\n" in text:
            around = " ".join(text[max(0, self.offset - 12) : self.offset + 24].split())
            return Problem(file, source.line, 0, f"{self.what} (near '{around}')")
        start = source.column + (1 if source.style == "quoted" else 0)
        return Problem(file, source.line, start + self.offset, self.what)


def parse(source: Text, text: str, offset: int, mistakes: list[Mistake]) -> ast.expr | None:
    """The tree of an expression, or None after noting why not.

    Args:
        source: the scalar that holds it, for places. text: the expression; offset: where it begins in the scalar.
    """
    if len(text) > MOST_LETTERS:
        mistakes.append(Mistake(source, offset, f"the expression is longer than {MOST_LETTERS} characters"))
        return None
    if not text.strip():
        mistakes.append(Mistake(source, offset, "an expression is expected here"))
        return None
    lead = len(text) - len(text.lstrip())
    flat = text.strip().replace("\n", " ")
    try:
        tree = ast.parse(flat, mode="eval")
    except SyntaxError as error:
        at = offset + lead + max(0, (error.offset or 1) - 1)
        mistakes.append(Mistake(source, at, _said(error)))
        return None
    except (ValueError, RecursionError, MemoryError):
        mistakes.append(Mistake(source, offset, "the expression is nested too deeply or holds a forbidden character"))
        return None
    return tree.body if _allowed(tree, source, offset + lead, mistakes) else None


def _said(error: SyntaxError) -> str:
    what = (error.msg or "this is not an expression").split(". Perhaps")[0]
    if "cannot assign" in what or "Maybe you meant '=='" in (error.msg or "") or what == "invalid syntax":
        return "this is not an expression; is an operator, a bracket or a quotation mark missing?"
    return f"this is not an expression: {what}"


def _allowed(tree: ast.AST, source: Text, offset: int, mistakes: list[Mistake]) -> bool:
    waiting: list[tuple[ast.AST, int, bool]] = [(tree, 0, False)]
    fine = True
    while waiting:
        node, depth, drawn = waiting.pop()
        at = offset + getattr(node, "col_offset", 0)
        if depth > MOST_LEVELS:
            mistakes.append(Mistake(source, at, f"nested deeper than {MOST_LEVELS} levels"))
            return False
        if type(node) not in _ALLOWED:
            hint = _INSTEAD.get(type(node), "only arithmetic, comparisons, and, or, not, if-else and calls are")
            mistakes.append(Mistake(source, at, f"this is not allowed in an expression; {hint}"))
            fine = False
            continue
        if isinstance(node, ast.GeneratorExp) and not drawn:
            mistakes.append(
                Mistake(source, at, "'for' stands only inside any, all, count, total, least, most, list, first")
            )
            fine = False
        inside_call = isinstance(node, ast.Call) and len(node.args) == 1 and not node.keywords
        for child in ast.iter_child_nodes(node):
            if type(child) not in _LEAVES or depth >= MOST_LEVELS:
                waiting.append((child, depth + 1, inside_call))
    return fine


def source_of(node: ast.AST) -> str:
    """The text of a piece of an expression, for reasons and messages."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name | ast.Attribute):
        return f"{source_of(node.value)}.{node.attr}"
    return ast.unparse(node)
