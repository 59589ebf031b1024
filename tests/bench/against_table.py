"""The table of outside truth in DEVELOPERS.md: ``python -m tests.bench.against_table``.

Each file of ``tests/against`` says in its first sentence what is held against what; the table
between its heading and the next is written anew, and a test compares.
"""

import ast
from pathlib import Path

HERE = Path(__file__).resolve().parents[2]
DEVELOPERS = HERE / "DEVELOPERS.md"
HEAD = "| test | what is held against what |\n|---|---|\n"


def first_sentence(path: Path) -> str:
    """The first paragraph of a test's docstring, on one line, without its full stop."""
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return " ".join(text.split("\n\n")[0].split()).removesuffix(".").replace("|", "/")


def table() -> str:
    """Rows of all files, by name."""
    files = sorted((HERE / "tests" / "against").glob("test_*.py"))
    rows = [f"| `{path.stem.removeprefix('test_')}` | {first_sentence(path)} |\n" for path in files]
    return HEAD + "".join(rows)


def written(text: str) -> str:
    """DEVELOPERS.md with the table made anew."""
    begin = text.index(HEAD)
    end = text.index("\n\n", begin) + 1
    return text[:begin] + table() + text[end:]


if __name__ == "__main__":
    DEVELOPERS.write_text(written(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
