"""Compiled kernels kept on disk, in the user's own cache folder, and checked when they are loaded.

numba's own cache lies beside the source, where many users cannot write. It keeps an entry's old
code when only a function that the entry calls has changed, and it fails on a damaged file. Here a
kept kernel is named by a fingerprint of the function and of everything that is compiled into it,
so an old one is never found. Its content is checked by SHA-256 before it is read, and what is
damaged is compiled again. Where nothing can be written the kernels live in memory alone.
"""

import hashlib
import os
import pickle
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from types import BuiltinFunctionType, CodeType, FunctionType, ModuleType
from typing import Any, TypeVar, cast

import llvmlite
import numba
import numpy as np
from numba import njit
from numba.core import event
from numba.core.caching import NullCache
from numba.core.compiler import CompileResult
from numba.core.serialize import dumps

from greaseroute.user_cache import (
    PART_PREFIX,
    cache_root,
    cache_roots,
    is_trusted,
    is_usable,
    make_own,
    takes_files,
)

SUFFIX = ".kernel"
MAGIC = b"greaseroute kernel 1\n"
DIGEST_BYTES = hashlib.sha256().digest_size
NAME_DIGITS = 20  # hexadecimal digits of a hash in a name: 80 bits

# Settings of numba that change the machine code.
SETTINGS = ("OPT", "BOUNDSCHECK", "DEBUGINFO_DEFAULT", "FASTMATH", "CPU_NAME", "CPU_FEATURES")

F = TypeVar("F", bound=Callable[..., Any])

_KERNELS: list["Kernel"] = []
_MEMORY: dict[str, bytes] = {}  # compiled code that could not be written, by the file's name


@dataclass(frozen=True, slots=True)
class Kernel:
    """An entry point into compiled code: the name of its module and function, and its dispatcher.

    The dispatcher is what numba makes of a function: it compiles the function for each set of
    argument types that it is called with.
    """

    name: str
    dispatcher: Any

    def fingerprint(self) -> str:
        """Hash of the function and of all that is compiled into it."""
        digest = hashlib.sha256()
        for part in _parts_of(self.dispatcher, set()):
            digest.update(part.encode() + b"\n")
        return digest.hexdigest()[:NAME_DIGITS]


def cached_njit(function: F) -> F:
    """Compile a function at its first call, without Python's lock, and keep the compiled code.

    For entry points, which Python calls. A function that only kernels call takes numba's own
    ``njit``: it is compiled into its callers.
    """
    dispatcher: Any = njit(nogil=True)(function)
    if hasattr(dispatcher, "_cache"):  # a plain function where NUMBA_DISABLE_JIT is set
        kernel = Kernel(f"{function.__module__}.{function.__qualname__}", dispatcher)
        _KERNELS.append(kernel)
        dispatcher._cache = _KernelFiles(kernel)
    return cast(F, dispatcher)


def kernels() -> tuple[Kernel, ...]:
    """The entry points of all modules that are loaded."""
    return tuple(_KERNELS)


def cache_folder() -> Path | None:
    """The folder for these versions, this processor and these settings of numba; None without."""
    root = cache_root()
    return None if root is None else root / f"kernels-{_environment()}"


def missing_kernels() -> list[str]:
    """Names of the loaded entry points of which no compiled code is kept."""
    folder, names = cache_folder(), set(_MEMORY)
    if folder is not None:
        with suppress(OSError):
            names |= set(os.listdir(folder))
    kept = {name.rpartition("-")[0] for name in names if name.endswith(SUFFIX)}
    return [k.name for k in _KERNELS if _stem(k) not in kept]


def unwritten() -> dict[str, bytes]:
    """Compiled code that this process could not write, for another one to `take_over`."""
    return dict(_MEMORY)


def take_over(compiled: Mapping[str, bytes]) -> None:
    """Take compiled code of a copy of this process, which could not write it either."""
    _MEMORY.update(compiled)


@contextmanager
def told(compiles: Callable[[str], object]) -> Iterator[None]:
    """Call ``compiles`` with the name of each function that has to be compiled in the block."""
    with event.install_listener("numba:compile", _Teller(compiles)):
        yield


class _Teller(event.Listener):
    """Hears of each function before it is compiled."""

    def __init__(self, tell: Callable[[str], object]) -> None:
        self._tell = tell

    def on_start(self, event: event.Event) -> None:
        self._tell(event.data["dispatcher"].py_func.__name__)

    def on_end(self, event: event.Event) -> None:
        """Nothing is told at the end."""


def can_keep() -> bool:
    """Whether compiled code can be kept: tried by writing a file."""
    folder = cache_folder()
    if folder is None:
        return False
    try:
        make_own(folder)
    except OSError:
        return False
    return takes_files(folder)


def clear() -> list[Path]:
    """Remove all kept kernels; the folders that were removed. Raises OSError."""
    roots = [root for root in cache_roots() if is_usable(root) and root.is_dir()]
    folders = [folder for root in roots for folder in sorted(root.glob("kernels-*"))]
    for folder in folders:
        shutil.rmtree(folder)
    for root in roots:
        with suppress(OSError):  # somebody keeps something else there
            root.rmdir()
    return folders


class _KernelFiles(NullCache):
    """What numba asks for compiled code and hands compiled code to, for one entry point."""

    def __init__(self, kernel: Kernel) -> None:
        self._kernel = kernel

    @property
    def cache_path(self) -> str | None:
        folder = cache_folder()
        return None if folder is None else str(folder)

    @cached_property
    def _stem(self) -> str:
        return _stem(self._kernel)

    def load_overload(self, sig: object, target_context: Any) -> Any:  # noqa: ANN401
        """The compiled code kept for these argument types, or None where it has to be compiled."""
        target_context.refresh()
        key, name = self._key(sig, target_context.codegen())
        folder = cache_folder()
        try:
            if name in _MEMORY:
                return _rebuilt(target_context, _MEMORY[name])
            return None if folder is None else _rebuilt(target_context, _read(folder / name, key))
        except FileNotFoundError:
            return None
        except Exception:  # damaged in whatever way: compiled again, and written anew
            return None

    def save_overload(self, sig: object, data: Any) -> None:  # noqa: ANN401
        """Keep compiled code; where it cannot be written it stays in memory."""
        if data.library.has_dynamic_globals:
            return
        key, name = self._key(sig, data.codegen)
        content, folder = _serialized(data), cache_folder()
        try:
            if folder is None:
                raise FileNotFoundError("this user has no folder")
            _write(folder / name, key, content)
        except OSError:
            _MEMORY[name] = content

    def _key(self, sig: object, codegen: Any) -> tuple[bytes, str]:  # noqa: ANN401
        """What the code was compiled for, and the name of the file that holds it."""
        key = f"{self._stem} {sig!r} {codegen.magic_tuple()!r}".encode()
        return key, f"{self._stem}-{_hash(key)}{SUFFIX}"


def _serialized(compiled: Any) -> bytes:  # noqa: ANN401
    content: bytes = dumps(compiled._reduce())  # type: ignore[no-untyped-call]
    return content


def _rebuilt(target_context: Any, content: bytes) -> Any:  # noqa: ANN401
    parts = pickle.loads(content)
    return CompileResult._rebuild(target_context, *parts)  # type: ignore[no-untyped-call]


def _stem(kernel: Kernel) -> str:
    return f"{kernel.name.removeprefix('greaseroute.')}-{kernel.fingerprint()}"


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:NAME_DIGITS]


def _read(path: Path, key: bytes) -> bytes:
    """The content of a kept file. Raises OSError, and ValueError where it is not whole."""
    with path.open("rb") as file:
        if not is_trusted(os.fstat(file.fileno()).st_uid):
            raise ValueError("another user's file")
        text = file.read()
    head = len(MAGIC) + DIGEST_BYTES
    digest, content = text[len(MAGIC) : head], text[head:]
    if not text.startswith(MAGIC) or hashlib.sha256(key + content).digest() != digest:
        raise ValueError("damaged")
    return content


def _write(path: Path, key: bytes, content: bytes) -> None:
    """Write a file under a passing name and give it its own: others see all of it or none."""
    make_own(path.parent)
    handle, part = tempfile.mkstemp(prefix=PART_PREFIX, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(MAGIC + hashlib.sha256(key + content).digest() + content)
        os.replace(part, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(part)
        raise


@cache
def _environment() -> str:
    """Hash of the versions, the processor and the settings that machine code hangs on."""
    import llvmlite.binding as llvm

    features = llvm.get_host_cpu_features()
    settings = [f"{name}={getattr(numba.config, name, None)}" for name in SETTINGS]
    parts = [
        sys.version, sys.byteorder, numba.__version__, llvmlite.__version__, np.__version__,
        llvm.get_process_triple(), llvm.get_host_cpu_name(), features.flatten(), *settings,
    ]  # fmt: skip
    return _hash("\n".join(parts).encode())


def _parts_of(dispatcher: Any, seen: set[int]) -> Iterator[str]:  # noqa: ANN401
    """What is compiled into a function: its code, its constants, and what it calls, in turn."""
    if id(dispatcher) in seen:
        return
    seen.add(id(dispatcher))
    function: FunctionType = dispatcher.py_func
    yield f"{function.__module__}.{function.__qualname__} {dispatcher.targetoptions!r}"
    yield f"defaults {function.__defaults__!r} {function.__kwdefaults__!r}"
    cells = dict(zip(function.__code__.co_freevars, function.__closure__ or (), strict=True))
    scope = function.__globals__ | {name: cell.cell_contents for name, cell in cells.items()}
    for code in _codes(function.__code__):
        constants = [c for c in code.co_consts if not isinstance(c, CodeType)]
        yield f"{code.co_code.hex()} {constants!r} {code.co_varnames!r} {code.co_names!r}"
        for name in (*code.co_names, *code.co_freevars):
            if name in scope:
                yield from _value_parts(name, scope[name], seen)


def _codes(code: CodeType) -> Iterator[CodeType]:
    """A function's code and that of the functions inside it."""
    yield code
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _codes(constant)


def _value_parts(name: str, value: Any, seen: set[int]) -> Iterator[str]:  # noqa: ANN401
    """A global value that a function names: the value itself, or what it is compiled from."""
    if hasattr(value, "py_func"):
        yield name
        yield from _parts_of(value, seen)
    elif isinstance(value, np.ndarray):
        yield f"{name} {value.dtype} {value.shape} {_hash(value.tobytes())}"
    elif isinstance(value, ModuleType) and value.__name__.startswith("greaseroute"):
        for inner, held in sorted(vars(value).items()):
            if isinstance(held, int | float | str | tuple) or hasattr(held, "py_func"):
                yield from _value_parts(f"{name}.{inner}", held, seen)
    elif isinstance(value, ModuleType | type | FunctionType | BuiltinFunctionType):
        yield f"{name} is {getattr(value, '__qualname__', value.__name__)}"
    else:
        yield f"{name} = {value!r}"
