"""The house keeps its walls: who may import whom, who may touch files, and that `__all__` says what is exported."""

from __future__ import annotations

import ast
import importlib
import re
from pathlib import Path
from types import ModuleType

import pytest

PACKAGE = Path(__file__).parents[2] / "burden"
MODULES = sorted(path for path in PACKAGE.rglob("*.py"))

#: lowest first; a room may use those below it, and those of its own layer
LAYERS = (
    {"utils"},
    {"evidence", "statistics"},
    {"case", "model"},
    {"treatment"},
    {"inference", "io"},
    {"sampling", "schedule"},
    {"decision"},
    {"report"},
    {"page"},
    {"cli"},
)
EDGE = {"io", "report", "page", "cli"}
#: the loader of package data is the one other place that reads files
READS_FILES = EDGE | {"evidence"}
FILE_CALLS = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "to_csv", "read_csv", "savefig"}
DRAWING = {"matplotlib", "click", "rich", "tqdm"}


def room_of(path: Path) -> str:
    """First part of the module's name inside the package."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(tree: ast.Module) -> set[str]:
    """Full names of the modules an AST imports, wherever in it, those needed for type checking alone left out."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def rooms_used(tree: ast.Module) -> set[str]:
    used = {name.split(".")[1] for name in imported(tree) if name.startswith("burden.")}
    return {room for room in used if not room.startswith("__")}  # burden.__version__ is no room


def layer_of(room: str) -> int:
    for level, rooms in enumerate(LAYERS):
        if room in rooms:
            return level
    raise AssertionError(f"{room} has no layer: say in tests/house/test_layers.py where it belongs")


def breaches(room: str, used: set[str]) -> set[str]:
    """Rooms used that lie above."""
    return {other for other in used - {room} if layer_of(other) > layer_of(room)}


def rooms() -> list[Path]:
    return [path for path in MODULES if path != PACKAGE / "__init__.py" and path != PACKAGE / "__main__.py"]


@pytest.mark.parametrize("path", rooms(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_room_reaches_up(path):
    tree = tree_of(path)
    assert breaches(room_of(path), rooms_used(tree)) == set()
    relative = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.level]
    assert not relative, "imports name the whole path, so that this test can read them"


def test_a_reach_upward_is_seen():
    """The check above fails on a module that reaches up."""
    wrong = ast.parse("def f():\n    from burden.model.forward import simulate\n    import burden.report.html")
    assert breaches("evidence", rooms_used(wrong)) == {"model", "report"}
    assert breaches("inference", rooms_used(wrong)) == {"report"}


def test_the_house_as_described_stands_in_the_same_order():
    """DEVELOPERS.md puts no room below one that lies above it here; on one line it may join neighbours."""
    table = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8").split("| rooms | what they are |")[1]
    rows = [re.findall(r"`(\w+)/?`", row.split("|")[1]) for row in table.split("```")[0].splitlines() if "| `" in row]
    line = {room: number for number, row in enumerate(rows) for room in row}
    pairs = [(low, high) for low in line for high in line if layer_of(low) < layer_of(high)]
    assert [pair for pair in pairs if line[pair[0]] > line[pair[1]]] == []


def test_imports_run_in_no_circle():
    """Inside a layer too: following the imports never comes back to the start."""
    uses = {}
    for path in rooms():
        uses.setdefault(room_of(path), set()).update(rooms_used(tree_of(path)) - {room_of(path)})
    done: set[str] = set()

    def follow(room: str, trail: tuple[str, ...]) -> None:
        assert room not in trail, " -> ".join([*trail, room])
        if room not in done:
            for other in sorted(uses.get(room, ())):
                follow(other, (*trail, room))
            done.add(room)

    for room in uses:
        follow(room, ())


def touches(tree: ast.Module) -> set[str]:
    """What a module does that only the edge may: files, printing, drawing, the clock."""
    found = set()
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in FILE_CALLS or name in {"print", "input", "today"}:
            found.add(name)
        if name == "now":
            found.add(name)
    return found | {name.split(".")[0] for name in imported(tree) if name.split(".")[0] in DRAWING}


@pytest.mark.parametrize("path", rooms(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_the_core_touches_no_file_prints_and_draws_nothing(path):
    found = touches(tree_of(path))
    if room_of(path) in READS_FILES:
        assert room_of(path) in EDGE or found <= {"read_text"}
    else:
        assert found == set()


def test_a_touch_is_seen():
    wrong = ast.parse("import matplotlib.pyplot as plt\ndef f(p):\n    print(p.read_text())\n    open('x')")
    assert touches(wrong) == {"matplotlib", "print", "read_text", "open"}


def exported(tree: ast.Module, commands: bool = True) -> set[str]:
    """Public names a module defines at its top: functions, classes, constants.

    A type variable is of use in its own module only; a command may be handed to its group by its decorator alone.
    """
    names = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names |= {node.name} if commands or not _is_command(node) else set()
        elif isinstance(node, ast.Assign) and not _calls(node.value, "TypeVar"):
            targets = [n for t in node.targets for n in (t.elts if isinstance(t, ast.Tuple) else [t])]
            names |= {target.id for target in targets if isinstance(target, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
    return {name for name in names if not name.startswith("_")}


def _calls(node: ast.AST, name: str) -> bool:
    """Whether a node is a call of a function or method of that name."""
    if not isinstance(node, ast.Call):
        return False
    return (node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")) == name


def _is_command(node: ast.AST) -> bool:
    return any(_calls(decorator, kind) for decorator in node.decorator_list for kind in ("command", "group"))


def re_exported(tree: ast.Module) -> set[str]:
    """Names imported from the package at the top of the module."""
    return {
        alias.asname or alias.name
        for node in tree.body
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("burden")
        for alias in node.names
    }


def module_of(path: Path) -> ModuleType:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return importlib.import_module(".".join(parts[:-1] if parts[-1] == "__init__" else parts))


@pytest.mark.parametrize("path", rooms(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_all_is_what_the_module_exports(path):
    """Every public function, class and constant is listed, and nothing else; a room's face alone hands names on."""
    tree, module = tree_of(path), module_of(path)
    if not exported(tree) and not re_exported(tree):
        return
    listed = module.__all__
    assert len(set(listed)) == len(listed)
    assert exported(tree, commands=False) - set(listed) == set()
    handed_on = re_exported(tree) if path.name == "__init__.py" else set()
    assert set(listed) - exported(tree) - handed_on == set()
    assert all(hasattr(module, name) for name in listed)
