"""Words that nothing handed out may hold: the trade says otherwise. A mechanic's list."""

import html
import re
import subprocess
import sys
from pathlib import Path

# Our word of before -> what the trade says (common practice, no source).
NOT_OURS = {
    r"cylinders? heads?\b|\bhead ends?\b": "base end and rod end",
    r"boom roots?": "boom foot pin",
    r"boom-arm": "boom-to-stick pin",
    r"arm-bucket": "bucket pin",
    r"guide links?": "tipping link",
    r"bucket links?\b": "H-link",
    r"rolling joints?": "oscillating hitch",
    r"hitch rolling": "hitch oscillation pin",
    r"slip joints?": "sliding spline",
    r"(?<!grease )\bbaths?\b": "pinion grease bath",
    r"look points?|\b(the|all|no|with|\d+) looks\b|\blooks:": "check, daily checks",
    r"posture greasing": "service position",
    r"remote heads?": "fitting on the grease block",
    r"\b(base|rod|cylinder) eyes?\b|\beye of\b": "base or rod pin",
    r"axle cradle": "axle trunnion",
    r"axle nose": "A-frame ball joint",
    r"steering centre arm": "bell crank",
    r"dirt belts?": "fines (side) conveyor",
    r"rod guide": "centraliser",
    r"drive drums?": "drive pulley",
    r"of these go in|(?<!not )\bgo in\b|\bput in\b|\bputs in\b": "to fit, fit",
    r"\bsettled\b": "done or reported",
    r"\bhand(ed)? in\b": "send to the workshop",
    r"\bowed\b|\bowes\b": "due",
    r"due ahead": "due soon",
    r"\blevell?ed\b": "spread evenly",
    r"middling": "typical week",
    r"of it safety": "safety stock",
    r"played through": "simulated",
    r"reckoned": "estimated",
    r"swept (circle|ground)|swing circle": "swing radius",
    r"sub-tour": "nothing: not for a card",
    r"waits relaxed": "nothing: not for a card",
    r"closes the ground of both|stays in the last\.": "nothing: not for a card",
    r"weight \d+: critical|of its interval used": "nothing: not for a card",
}


def found(text):
    """(words found, with what is around them, what the trade says) of every word not ours."""
    return [
        (text[max(0, m.start() - 40) : m.end() + 30], better)
        for pattern, better in NOT_OURS.items()
        for m in re.finditer(pattern, text, re.IGNORECASE)
    ]


def shown(file: Path) -> str:
    """What a person reads of a file: a page without its marks, styles and scripts."""
    text = file.read_text(encoding="utf-8-sig")
    if file.suffix in (".html", ".svg"):
        text = re.sub(r"<(style|script)\b.*?</\1>", " ", text, flags=re.DOTALL)
        kept = " ".join(re.findall(r'\b(?:title|aria-label|placeholder|alt)="([^"]*)"', text))
        text = html.unescape(re.sub(r"<[^>]+>", " ", text)) + " " + html.unescape(kept)
    return " ".join(text.split())


def verb(*words):
    """What one command prints, on both streams."""
    command = [sys.executable, "-m", "greaseroute", *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, encoding="utf-8")
    assert done.returncode in (0, 1), done.stderr
    return f"{done.stdout}\n{done.stderr}"


def everything_of(site: Path, out: Path, *more: str) -> dict[str, str]:
    """Text by output of every verb that writes or prints for people, at one site."""
    texts = {}
    for name, words in {
        "check": ("check", site),
        "due": ("due", site),
        "due --all": ("due", site, "--all"),
        "round": ("round", site, "--checks", "all", "--out", out / "round"),
        "week": ("week", site, "--weeks", "20", "--out", out / "week"),
        "first-day": ("first-day", site, "--out", out / "first"),
        "show": ("show", site, "--out", out / "show"),
    }.items():
        texts[name] = verb(*words, *more)
    for file in sorted(out.rglob("*")):
        if file.suffix in (".html", ".svg", ".csv"):
            texts[file.relative_to(out).as_posix()] = shown(file)
    return texts
