"""A good site folder to plant mistakes in."""

import shutil
from pathlib import Path

from greaseroute.errors import Fault
from greaseroute.site.folder import gather

GOOD = Path(__file__).parent / "good_site"


def good_copy(tmp_path: Path) -> Path:
    """A copy of the good site."""
    return Path(shutil.copytree(GOOD, tmp_path / "site"))


def plant(folder: Path, file: str, old: str, new: str) -> None:
    """Exchange a text that must stand in the file exactly once."""
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, (file, old, text.count(old))
    path.write_text(text.replace(old, new), encoding="utf-8")


def faults_after(tmp_path: Path, file: str, old: str, new: str) -> tuple[Fault, ...]:
    """The faults of the good site with one text exchanged."""
    folder = good_copy(tmp_path)
    plant(folder, file, old, new)
    return gather(folder)[1]
