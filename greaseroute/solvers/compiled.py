"""How functions that only kernels call are compiled; entry points take ``cached_njit``."""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def inner_njit(function: F) -> F:
    """Compile a function that is called millions of times a second and makes no arrays.

    Arrays that are handed on are not counted as used: counting took a third of the time of the
    crew's search. The caller holds them for as long as the call lasts. Python cannot call it, so
    that nothing is compiled for that.
    """
    njit: Any = numba.njit
    options = {"nogil": True, "_nrt": False, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    return cast(F, njit(**options)(function))
