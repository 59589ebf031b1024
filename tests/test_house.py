"""The habits of the house, measured on the source itself."""

import ast
import statistics
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import networkx as nx
import pytest

ROOT = Path(__file__).parent.parent
MODULES = sorted((ROOT / "greaseroute").rglob("*.py"))


def _is_solver(path: Path) -> bool:
    return path.is_relative_to(ROOT / "greaseroute" / "solvers")


def _docstring_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> set[int]:
    first = node.body[0]
    if ast.get_docstring(node) is None:
        return set()
    return set(range(first.lineno, (first.end_lineno or 0) + 1))


def _code_lines(node: ast.FunctionDef | ast.AsyncFunctionDef, lines: list[str]) -> int:
    skip = _docstring_lines(node)
    return sum(
        1
        for number in range(node.lineno, (node.end_lineno or 0) + 1)
        if number not in skip and (text := lines[number - 1].strip()) and text[0] != "#"
    )


def _functions() -> Iterator[tuple[str, int, str]]:
    """Name, code lines and the source text above and in each function of the package."""
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        lines = text.splitlines()
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                source = "\n".join(lines[max(0, node.lineno - 4) : node.end_lineno])
                yield (
                    f"{path.relative_to(ROOT)}:{node.lineno} {node.name}",
                    _code_lines(node, lines),
                    source,
                )


def test_functions_are_small():
    # Median <= 8 code lines, nine in ten <= 25; the signature counts as code.
    sizes = sorted(size for _, size, _ in _functions())
    assert statistics.median(sizes) <= 8
    assert sizes[int(0.9 * len(sizes))] <= 25


def test_long_functions_state_their_reason():
    # Over 40 code lines only with a comment that starts "# Long:" and says why.
    silent = [name for name, size, source in _functions() if size > 40 and "# Long:" not in source]
    assert silent == []


def test_modules_are_short():
    # A subject of a solver is not cut in two for a line count.
    limits = {p: 450 if _is_solver(p) else 350 for p in MODULES}
    assert [str(p) for p, most in limits.items() if len(p.read_text().splitlines()) > most] == []


def test_solvers_are_explained():
    # Of the lines of solvers a fifth are docstrings and comments, three in a hundred comments.
    lines = documented = comments = 0
    for path in (p for p in MODULES if _is_solver(p)):
        text = path.read_text(encoding="utf-8")
        rows = text.splitlines()
        lines += len(rows)
        comments += sum(row.lstrip().startswith("#") for row in rows)
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
                first = node.body[0] if ast.get_docstring(node) is not None else None
                documented += 0 if first is None else (first.end_lineno or 0) - first.lineno + 1
    assert documented + comments >= 0.20 * lines
    assert comments >= 0.03 * lines


def test_nothing_imports_in_a_circle():
    # Imports for types alone count too.
    imports = nx.DiGraph()
    names = {".".join(p.relative_to(ROOT).with_suffix("").parts) for p in MODULES}
    for path in MODULES:
        here = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                whole = {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
                imports.add_edges_from((here, name) for name in whole & names if name != here)
    assert imports.number_of_edges() > 1000
    assert [c for c in nx.strongly_connected_components(imports) if len(c) > 1] == []


def test_top_level_is_fixed():
    listed = subprocess.run(
        ["git", "ls-tree", "--name-only", "HEAD"], cwd=ROOT, capture_output=True, text=True
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    seen = {name for name in listed.stdout.split() if not name.startswith(".")}
    assert seen == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "greaseroute",
        "tests",
        "sites_demo",
    }


def test_help_answers_without_heavy_imports():
    run = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "greaseroute", "--help"],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=True,
    )
    imported = {line.rsplit("|", 1)[-1].strip() for line in run.stderr.splitlines()}
    heavy = {"numpy", "pydantic", "networkx", "ortools", "numba", "shapely", "scipy", "rich"}
    assert imported & heavy == set()
    assert "argparse" in imported  # the probe itself sees imports


def test_wheel_carries_the_shelf_and_the_type_mark(tmp_path):
    from hatchling.builders.wheel import WheelBuilder

    wheel = next(WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"]))
    names = zipfile.ZipFile(wheel).namelist()
    shelf = {p.name for p in (ROOT / "greaseroute/catalogue/types").glob("*.toml")}
    assert len(shelf) >= 5
    assert {n.rsplit("/", 1)[1] for n in names if "catalogue/types/" in n} >= shelf
    assert "greaseroute/py.typed" in names
    templates = {p.name for p in (ROOT / "greaseroute/cards").rglob("*.html*")}
    assert {n.rsplit("/", 1)[1] for n in names} >= templates


def test_the_table_of_outside_truth_is_made_from_the_tests():
    from tests.bench.against_table import DEVELOPERS, table, written

    text = DEVELOPERS.read_text(encoding="utf-8")
    assert text == written(text)
    assert table().count("\n") >= 2 + 30


def test_the_picture_of_the_layers_is_drawn_from_the_contracts():
    from tests.bench.layers_picture import PICTURE, picture

    assert PICTURE.read_text(encoding="utf-8") == picture()
