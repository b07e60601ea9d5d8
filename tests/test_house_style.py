"""The rules of DEVELOPERS.md on names, docstrings and sizes, held for the whole package."""

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1] / "scheduler"
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(PACKAGE.rglob("*.py"))}
LONGEST_LINE = 80
MOST_LINES = 50
Documented = ast.FunctionDef | ast.ClassDef | ast.Module


def nodes() -> Iterator[tuple[str, ast.AST]]:
    """Every node of the package, with the place that a failure names."""
    for path, tree in TREES.items():
        for node in ast.walk(tree):
            yield f"{path.relative_to(PACKAGE)}:{getattr(node, 'lineno', 1)}", node


def test_a_docstring_begins_with_one_short_line() -> None:
    documented = [(place, ast.get_docstring(node)) for place, node in nodes() if isinstance(node, Documented)]
    assert [place for place, text in documented if text and len(text.splitlines()[0]) > LONGEST_LINE] == []


def test_a_class_name_occurs_once() -> None:
    names = Counter(node.name.lstrip("_") for _, node in nodes() if isinstance(node, ast.ClassDef))
    assert [name for name, times in names.items() if times > 1] == []


def test_no_function_is_longer_than_a_screen() -> None:
    functions = [(place, node) for place, node in nodes() if isinstance(node, ast.FunctionDef)]
    assert [place for place, node in functions if node.end_lineno - node.lineno + 1 > MOST_LINES] == []  # type: ignore[operator]
