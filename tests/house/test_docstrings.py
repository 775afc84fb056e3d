"""A public function names what it may raise, and each array it is handed: found in the syntax tree, not by taste."""

from __future__ import annotations

import ast
import builtins
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "coach"
ARRAY = re.compile(r"\b(?:NDArray|ndarray|Floats|Ints|Bools|Flags)\b")
NO_PROMISE = {"AssertionError", "AttributeError", "NotImplementedError", "StopIteration", "SystemExit"}
"""Said by the language where they belong: a protocol, an iterator, a module's attribute."""


@cache
def trees() -> tuple[tuple[str, ast.Module], ...]:
    """The modules that others call: not the commands, whose help says what they refuse."""
    paths = [path for path in sorted(PACKAGE.rglob("*.py")) if "cli" not in path.relative_to(PACKAGE).parts]
    return tuple((str(path.relative_to(PACKAGE.parent)), ast.parse(path.read_text("utf-8"))) for path in paths)


def bases() -> dict[str, set[str]]:
    """Each class of the package with the names of those it stands on."""
    found: dict[str, set[str]] = {}
    for _, tree in trees():
        for node in tree.body:
            if isinstance(node, ast.ClassDef):
                found.setdefault(node.name, set()).update(ast.unparse(base).split(".")[-1] for base in node.bases)
    return found


def with_bases(name: str, known: dict[str, set[str]]) -> set[str]:
    """A class's name and those of all that it stands on."""
    found, todo = {name}, [name]
    while todo:
        name = todo.pop()
        own = getattr(builtins, name, None)
        more = {kind.__name__ for kind in own.__mro__} if isinstance(own, type) else known.get(name, set())
        more -= found
        found |= more
        todo += more
    return found


def public(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef, str]]:
    """Functions and methods without an underscore, and how objects are made: name, node, all that is said of it."""

    def inside(body: list[ast.stmt], around: str, said: str) -> Iterator[tuple[str, ast.FunctionDef, str]]:
        for node in body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                yield from inside(node.body, f"{node.name}.", ast.get_docstring(node) or "")
            elif isinstance(node, ast.FunctionDef) and (node.name == "__init__" or not node.name.startswith("_")):
                own = ast.get_docstring(node)
                if own is not None or node.name == "__init__":  # else it is described where it is declared
                    yield around + node.name, node, f"{own or ''}\n{said if node.name == '__init__' else ''}"

    yield from inside(tree.body, "", "")


def raised(function: ast.FunctionDef) -> set[str]:
    """Classes that the function itself raises and does not catch."""
    thrown, caught = set(), set()
    for node in ast.walk(function):
        if isinstance(node, ast.Raise) and node.exc is not None:
            what = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            name = ast.unparse(what).split(".")[-1]
            if re.fullmatch(r"[A-Z]\w+", name):
                thrown.add(name)
        elif isinstance(node, ast.ExceptHandler) and node.type is not None:
            caught |= set(re.findall(r"\w+", ast.unparse(node.type)))
    return thrown - caught - NO_PROMISE


def answers_a_request(function: ast.FunctionDef) -> bool:
    """The work of an endpoint: what it refuses stands with its address, and a test of the API holds it to that."""
    return [ast.unparse(a.annotation) for a in function.args.args if a.annotation is not None] == ["Call"]


def unsaid_errors(tree: ast.Module, known: dict[str, set[str]]) -> list[str]:
    """Functions that raise what neither they nor their class name, nor a base of it."""
    return [
        f"{name}, line {node.lineno}: {error}"
        for name, node, said in public(tree)
        if not answers_a_request(node)
        for error in sorted(raised(node))
        if not with_bases(error, known) & set(re.findall(r"\w+", said))
    ]


def unsaid_arrays(tree: ast.Module) -> list[str]:
    """Arguments that are arrays and of which nothing is said."""
    return [
        f"{name}, line {node.lineno}: {argument.arg}"
        for name, node, said in public(tree)
        for argument in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
        if argument.annotation is not None and ARRAY.search(ast.unparse(argument.annotation))
        if argument.arg not in re.findall(r"\w+", said)
    ]


def test_errors_are_named() -> None:
    """Whoever calls a function reads what to catch where it is described."""
    known = bases()
    assert {where: found for where, tree in trees() if (found := unsaid_errors(tree, known))} == {}


def test_arrays_are_described() -> None:
    """An array's name in the text, with its unit or shape, says more than its type, which is the same for all."""
    assert {where: found for where, tree in trees() if (found := unsaid_arrays(tree))} == {}


@pytest.mark.parametrize(
    ("source", "errors", "arrays"),
    [
        ('def f():\n    """Works."""\n    raise BadInput("no")', 1, 0),
        ('def f():\n    """Works. Raises CoachError."""\n    raise BadInput("no")', 0, 0),
        ('class A:\n    """Raises BadInput."""\n    def __init__(self):\n        raise BadInput("no")', 0, 0),
        (
            'def f():\n    """Works."""\n    try:\n        raise BadInput("no")\n    except BadInput:\n        pass',
            0,
            0,
        ),
        ('def f(t_us: Ints):\n    """At each time."""', 0, 1),
        ('def f(t_us: Ints):\n    """At each of `t_us`."""', 0, 0),
    ],
)
def test_the_checks_bite(source: str, errors: int, arrays: int) -> None:
    """What is said is taken, what is not said is found."""
    tree = ast.parse(source)
    assert len(unsaid_errors(tree, {"BadInput": {"CoachError"}})) == errors
    assert len(unsaid_arrays(tree)) == arrays
