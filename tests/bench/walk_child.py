"""One distance matrix in a process of its own, with nothing else imported.

    python -m tests.bench.walk_child SCENE.npz

The scene holds ``boundary`` and ``shapes`` as WKB and ``points``; prints seconds and peak memory.
"""

import json
import resource
import sys
import time

import numpy as np
import shapely

from greaseroute.walk.ground import FreeGround


def main() -> None:
    """Read the scene, work out the matrix, print figures as JSON."""
    with np.load(sys.argv[1], allow_pickle=True) as scene:
        boundary = shapely.from_wkb(scene["boundary"][0])
        shapes, points = list(shapely.from_wkb(scene["shapes"])), scene["points"]
    began = time.perf_counter()
    table = FreeGround(boundary, shapes).distances_m(points)
    used = resource.getrusage(resource.RUSAGE_SELF)
    figures = {
        "seconds": time.perf_counter() - began,
        "cpu_s": used.ru_utime + used.ru_stime,
        "peak_mib": used.ru_maxrss / 1024,
        "joined": float(np.isfinite(table).mean()),
    }
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
