"""Words apart from numbers: the core holds no sentences, and nothing takes one apart."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "burden"

#: literals of more words than this are sentences
_WORDS = 5
#: rooms that speak: the report and the faces; `io` says what is wrong or odd in an input
SPEAKING = ("report", "cli", "page", "io")
#: modules whose sentences are data beside their limits, and names of methods that are as long
BESIDE_LIMITS = {
    "treatment/safety.py",
    "treatment/efficacy_contradiction.py",  # what a trial speaks against
    "treatment/bath_notes.py",
    "treatment/medicated_feed.py",  # what is wrong with a course
    "treatment/host_tolerance.py",
    "treatment/dose_cautions.py",
    "treatment/published_dose.py",  # what is wrong with a dose
    "evidence/figures.py",  # what each kind of knowledge means
    "utils/errors.py",  # what is wrong with an input
    "sampling/development_times.py",  # what is wrong with an option, as a table of ranges
    "sampling/ranges.py",
    "sampling/sequential.py",
    "statistics/aggregation.py",
    "statistics/count_reduction.py",
    "utils/parallel.py",  # what is wrong with a cluster
}

#: what is made with words as data: a problem of an input, and a value of the evidence with its conditions
_DATA = {"Problem", "problem", "Value"}

#: calls that take a text apart
_CUTS = {"split", "rsplit", "splitlines", "partition", "rpartition", "removeprefix", "removesuffix"}
#: modules that take apart what is no sentence: names, identifiers, paths, markup, one word of an input
NO_SENTENCES = {
    "model/lifecycle/fresh_eggs.py": "names of measured quantities",
    "inference/shared_quantities.py": "codes of quantities",
    "model/forward/run.py": "names of columns",
    "treatment/host_tolerance.py": "the name of a species, as the case has it",
    "utils/formatting.py": "a noun, to put it into the plural",
    "report/figures/inline.py": "identifiers of a drawing",
    "report/figures/style.py": "markup of a drawing",
    "report/files/tables.py": "a cell that a spreadsheet may take for a formula",
    "report/files/folder.py": "names of files",
    "report/text/group.py": "codes of quantities",
    "report/write.py": "names of files",
}
#: modules that still read sentences, with the number of places: may only fall
READS_SENTENCES = {
    "report/formatting.py": 4,
    "report/page/cautions.py": 1,
    "report/page/sources.py": 1,
    "report/tidy.py": 1,  # a title that the import made of site and unit; a person may have written it
}


def modules() -> list[str]:
    return sorted(str(path.relative_to(PACKAGE)) for path in PACKAGE.rglob("*.py"))


def tree_of(name: str) -> ast.Module:
    return ast.parse((PACKAGE / name).read_text(encoding="utf-8"))


def _name(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")


def _silent(tree: ast.AST) -> set[int]:
    """Nodes that are no words of a result: docstrings, errors, and words that are data."""
    found: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            found.add(id(node.value))
        elif (
            isinstance(node, ast.Raise)
            or (isinstance(node, ast.ClassDef) and node.name.endswith("Error"))
            or (isinstance(node, ast.Call) and _name(node) in _DATA)
        ):
            found |= {id(inner) for inner in ast.walk(node)}
    return found


def sentences(tree: ast.AST) -> Iterator[str]:
    """String literals of more than a few words, those of an f-string as one."""
    silent = _silent(tree)
    for node in ast.walk(tree):  # an f-string comes before its parts
        if id(node) in silent:
            continue
        text = ""
        if isinstance(node, ast.JoinedStr):
            silent |= {id(inner) for value in node.values for inner in ast.walk(value)}
            text = "".join(v.value if isinstance(v, ast.Constant) else "…" for v in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        if sum(any(map(str.isalpha, word)) for word in text.split()) > _WORDS:
            yield text


def room_of(name: str) -> str:
    return Path(name).parts[0].removesuffix(".py")


def test_the_core_holds_no_sentence():
    held: Counter[str] = Counter()
    found: dict[str, list[str]] = {}
    for name in modules():
        if room_of(name) not in SPEAKING and name not in BESIDE_LIMITS:
            here = list(sentences(tree_of(name)))
            held[room_of(name)] += len(here)
            found.setdefault(room_of(name), []).extend(f"{name}: {text}" for text in here)
    new = {room: found[room] for room, number in held.items() if number}
    assert new == {}, "write it in burden/report/text, and carry a code and numbers"


def test_a_sentence_is_seen():
    wrong = ast.parse('''def f(x):
    """A docstring of as many words as it likes to have."""
    if not x:
        raise ValueError(f"this is {x} and that is what it must not be")
    return f"there are {x} flukes on the fish " "and that is said here"
''')
    assert list(sentences(wrong)) == ["there are … flukes on the fish and that is said here"]


def cuts(tree: ast.AST) -> int:
    """Number of calls that take a text apart."""
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    names = [call for call in calls if isinstance(call.func, ast.Attribute) and call.func.attr in _CUTS]
    regexes = [
        call
        for call in calls
        if isinstance(call.func, ast.Attribute)
        and isinstance(call.func.value, ast.Name)
        and call.func.value.id == "re"
        and call.func.attr in ("search", "match", "fullmatch", "findall", "finditer", "sub", "split")
    ]
    arrays = [call for call in names if isinstance(call.func.value, ast.Name) and call.func.value.id == "np"]
    return len(names) - len(arrays) + len(regexes)


@pytest.mark.parametrize("name", [name for name in modules() if room_of(name) not in ("io", "cli", "evidence", "page")])
def test_nothing_takes_a_sentence_apart(name):
    """`io`, `cli` and `evidence` read what people wrote; no other room reads what the package wrote."""
    if name not in NO_SENTENCES:
        assert cuts(tree_of(name)) <= READS_SENTENCES.get(name, 0)


def test_a_cut_is_seen():
    wrong = ast.parse("import re\nx = text.split(': ')[0]\ny = re.search('of (.*)', text)\nz = np.split(values, 2)")
    assert cuts(wrong) == 2


def test_whatever_has_a_writer_finds_it():
    """A result met on its own loads the module of its words: by the module of its type, and by that alone."""
    from importlib import import_module

    from burden.report import text
    from burden.utils import wording

    for path in Path(text.__path__[0]).glob("*.py"):
        import_module(f"burden.report.text.{path.stem}")
    writers = {
        kind: writer.__module__.rsplit(".", 1)[-1]
        for asked in (wording._words, wording._brief, wording._lines)
        for kind, writer in asked.registry.items()
        if kind.__module__.startswith("burden.")
    }
    assert len(writers) > 50
    named = {kind.__module__: text._SUBJECTS.get(kind.__module__) for kind in writers}
    wrong = {f"{kind.__module__}.{kind.__name__}" for kind, room in writers.items() if named[kind.__module__] != room}
    assert wrong == set()
