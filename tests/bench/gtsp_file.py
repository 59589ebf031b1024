"""Reads ``.gtsp`` files: TSPLIB headers, then ``GTSP_SET_SECTION`` (set, nodes from 1, -1)."""

import csv
from pathlib import Path

import numpy as np


def read_gtsp(path: Path):
    """(n, n) int costs and the clusters as lists of node numbers from 0.

    Raises ValueError where a section is missing or of a kind that is not read here.
    """
    head, body = _split(path.read_text())
    count, wanted = int(head["DIMENSION"]), int(head["GTSP_SETS"])
    words = body.split()
    if head["EDGE_WEIGHT_TYPE"] == "EUC_2D":
        cost, rest = _euclidean(words, count)
    elif head.get("EDGE_WEIGHT_FORMAT") == "FULL_MATRIX":
        cost = np.array(words[1 : 1 + count * count], dtype=np.int64).reshape(count, count)
        rest = words[1 + count * count :]
    else:
        raise ValueError(f"{path.name}: EDGE_WEIGHT_TYPE {head['EDGE_WEIGHT_TYPE']} is not read")
    if rest[0] != "GTSP_SET_SECTION":
        raise ValueError(f"{path.name}: {rest[0]} where GTSP_SET_SECTION should stand")
    clusters = _clusters(rest[1:])
    if len(clusters) != wanted:
        raise ValueError(f"{path.name}: {len(clusters)} sets, GTSP_SETS says {wanted}")
    return cost, clusters


def _split(text: str):
    head: dict[str, str] = {}
    lines = text.splitlines()
    for number, line in enumerate(lines):
        key, colon, value = line.partition(":")
        if not colon:
            return head, "\n".join(lines[number:])
        head[key.strip()] = value.strip()
    raise ValueError("no data section")


def _euclidean(words, count):
    table = np.array(words[1 : 1 + 3 * count], dtype=float).reshape(count, 3)[:, 1:]
    gap = np.hypot(*(table[:, None] - table[None]).transpose(2, 0, 1))
    return (gap + 0.5).astype(np.int64), words[1 + 3 * count :]


def _clusters(words):
    clusters, current = [], None
    for word in words:
        if word == "EOF":
            break
        if current is None:
            current = []
        elif word == "-1":
            clusters.append(current)
            current = None
        else:
            current.append(int(word) - 1)
    return clusters


def best_known(folder: Path) -> dict[str, int]:
    """Best known costs of ``reference.csv``; instances without one are left out."""
    with (folder / "reference.csv").open() as file:
        rows = list(csv.DictReader(file))
    return {r["instance"]: int(r["best_known"]) for r in rows if r["best_known"]}
