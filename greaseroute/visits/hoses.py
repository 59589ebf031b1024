"""Fittings done by a gun with a longer hose than that of the gun taken first."""

from collections.abc import Collection
from dataclasses import replace

from greaseroute.visits.work import FittingWork, UnitWork


def with_longer_hoses(
    work: UnitWork, missing: Collection[tuple[str, str]], *, same_grease: bool
) -> UnitWork:
    """The work with the longest hose there is at each of the ``missing`` fittings.

    With ``same_grease`` of the guns with the grease that the joint gets anyway, else of all.
    """
    joints = []
    for joint in work.joints:
        grease = {f.key: f.grease for f in joint.fittings}
        best: dict[tuple[str, str], FittingWork] = {}
        for f in joint.longer:
            if f.key not in missing or (same_grease and f.grease != grease.get(f.key)):
                continue
            if f.key not in best or f.hose_m > best[f.key].hose_m:
                best[f.key] = f
        fittings = tuple(best.get(f.key, f) for f in joint.fittings)
        joints.append(joint if fittings == joint.fittings else replace(joint, fittings=fittings))
    return replace(work, joints=tuple(joints))
