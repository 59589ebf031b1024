"""Make the README's figures true again: ``python -m tests.bench.readme``.

Plans the demo quarry, puts its summary in place of the one shown and its map in place of the
picture. Prints nothing where all was true already.
"""

import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
QUARRY = "sites_demo/quarry_ruttersby"


def main() -> int:
    """Plan, replace, and tell what changed."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "greaseroute", "round", QUARRY, "--out", folder]
        run = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=True)
        summary = re.sub(r"Written to .*:", "Written to out:", run.stdout)
        drawn = (Path(folder) / "map.svg").read_text(encoding="utf-8")
    _replace(ROOT / ".pictures" / "quarry_map.svg", lambda _: drawn)
    shown = f"```text\n{summary}```"
    _replace(
        ROOT / "README.md",
        lambda text: re.sub(r"```text\n.*?```", lambda _: shown, text, count=1, flags=re.DOTALL),
    )
    return 0


def _replace(path: Path, new: Callable[[str], str]) -> None:
    before = path.read_text(encoding="utf-8")
    after = new(before)
    if after != before:
        path.write_text(after, encoding="utf-8")
        print(f"{path.relative_to(ROOT)}: changed")


if __name__ == "__main__":
    sys.exit(main())
