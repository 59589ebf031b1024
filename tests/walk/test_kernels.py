"""Loading the kernels of the walks takes no more than they need."""

import subprocess
import sys

SCRIPT = """
import sys
from greaseroute.walk.kernels import BLAS, load_kernels
load_kernels()
print([name for name in ("scipy.linalg", BLAS) if name in sys.modules])
import scipy.linalg.cython_blas
print(sys.modules[BLAS].__name__)
load_kernels()
print(sys.modules[BLAS].__name__)
"""


def test_numba_starts_without_linear_algebra_which_can_still_be_had() -> None:
    run = [sys.executable, "-c", SCRIPT]
    said = subprocess.run(run, capture_output=True, text=True, check=True).stdout.splitlines()
    assert said == ["[]", "scipy.linalg.cython_blas", "scipy.linalg.cython_blas"]
