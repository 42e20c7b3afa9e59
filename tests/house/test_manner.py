"""Small functions in small modules, as DEVELOPERS.md has it: what is longer has two subjects."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "burden"
MODULES = sorted(str(path.relative_to(PACKAGE)) for path in PACKAGE.rglob("*.py"))

#: lines of a function, its docstring left out, and of a module
MOST_OF_A_FUNCTION, MOST_OF_A_MODULE = 40, 400
#: modules that are still longer: may only become fewer
STILL_LONG = {"schedule/candidates.py", "schedule/search.py"}


def text_of(name: str) -> str:
    return (PACKAGE / name).read_text(encoding="utf-8")


def lines_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from `def` to the last, the docstring left out."""
    first = function.body[0]
    said = ast.get_docstring(function, clean=False) is not None
    return function.end_lineno - function.lineno + 1 - (first.end_lineno - first.lineno + 1 if said else 0)


def long_functions(tree: ast.AST) -> Iterator[tuple[str, int]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and lines_of(node) > MOST_OF_A_FUNCTION:
            yield node.name, lines_of(node)


@pytest.mark.parametrize("name", MODULES)
def test_no_function_is_long(name):
    assert list(long_functions(ast.parse(text_of(name)))) == [], "make its steps functions of their own"


def test_no_module_is_long():
    """A module that is mended leaves the list, and no other joins it."""
    long = {name for name in MODULES if len(text_of(name).splitlines()) > MOST_OF_A_MODULE}
    assert long - STILL_LONG == set(), "move one of its subjects into a module of its own"
    assert STILL_LONG - long == set(), "short by now: take it off the list"


def test_a_long_function_is_seen():
    steps = "\n".join(f"    x{i} = {i}" for i in range(MOST_OF_A_FUNCTION))
    told = '    """A docstring\n    of two lines."""\n'
    assert list(long_functions(ast.parse(f"def f():\n{told}{steps}"))) == [("f", MOST_OF_A_FUNCTION + 1)]
    assert list(long_functions(ast.parse(f"def f():\n{told}{steps}".rsplit("\n", 1)[0]))) == []
