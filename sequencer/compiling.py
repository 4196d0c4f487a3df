"""Machine code kept between runs: one cache folder for each version of a kernel's sources.

numba's own cache looks only at the file of the function it compiled, so an edited callee in
another file would go on answering with the old code. Here the folder's name is a hash of *all*
sources of a kernel, of the numba and llvmlite versions and of the processor, so a folder never
holds anything but what its sources say.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final, TypeAlias, TypeVar

__all__ = ["Callback", "Kernels", "cache_parent", "lean_numba"]

#: a function that code in C calls; its `address` is where
Callback: TypeAlias = Any
F = TypeVar("F", bound=Callable[..., Any])

#: folders of one kernel that are kept: a few checkouts or versions in turn should not thrash
_KEPT: Final = 4
_COMPLETE: Final = "complete"
#: what numba would load for matrix products
_UNUSED: Final = ("scipy.linalg", "scipy.linalg.cython_blas")


def cache_parent() -> Path:
    """The folder under which all kernels keep their code.

    `NUMBA_CACHE_DIR` if it is set, else `drycount` in `XDG_CACHE_HOME` or `~/.cache`; a folder of
    this user among the temporary files where that cannot be written.
    """
    numba_dir = os.environ.get("NUMBA_CACHE_DIR")
    xdg = os.environ.get("XDG_CACHE_HOME")
    if numba_dir:
        parent = Path(numba_dir)
    elif xdg:
        parent = Path(xdg) / "drycount"
    else:
        parent = Path("~").expanduser() / ".cache" / "drycount"
    try:
        parent.mkdir(parents=True, exist_ok=True)
    except OSError:
        usable = False
    else:
        usable = os.access(parent, os.W_OK)
    if not usable:
        parent = Path(tempfile.gettempdir()) / f"drycount-{os.getuid()}"
        parent.mkdir(mode=0o700, exist_ok=True)
    return parent


@contextlib.contextmanager
def lean_numba() -> Iterator[None]:
    """While it lasts numba finds no linear algebra of SciPy's.

    Where SciPy is installed numba loads it together with the first compiled function: half a second
    for matrix products that no kernel of ours takes. For processes of our own only: numba
    code of somebody else might want them.
    """
    hidden = [name for name in _UNUSED if name not in sys.modules]
    for name in hidden:
        sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        for name in hidden:
            if sys.modules.get(name, 0) is None:
                del sys.modules[name]


class Kernels:
    """The compiled functions of one kernel.

    name     of the kernel, part of the folder's name
    sources  every file whose text can change what the kernel computes
    """

    def __init__(self, name: str, sources: Iterable[Path]) -> None:
        self.name = name
        self._sources = tuple(sorted(sources))
        self._folder: Path | None = None
        self._complete = False

    @property
    def folder(self) -> Path:
        """Where this version's code is kept; made on first use."""
        if self._folder is None:
            self._folder = cache_parent() / f"{self.name}-{self._key()}"
            new = not self._folder.exists()
            self._folder.mkdir(parents=True, exist_ok=True)
            os.utime(self._folder)
            if new:
                self._prune()
        return self._folder

    def complete(self) -> bool:
        """Whether this version has been compiled to its end before."""
        if not self._complete:  # what is there stays there, and it is asked for before every flight
            self._complete = (self.folder / _COMPLETE).exists()
        return self._complete

    def compiled(self, *signature: object, inline: bool = False) -> Callable[[F], F]:
        """Decorator: compile with numba (no fast-math, no Python exceptions for x/0, no GIL).

        With a signature the function is compiled, or loaded, at once; without, when it is called.
        inline   put its code wherever it is called, for what is small or called from one place
                 and all the time; the numbers stay the same
        """

        def decorate(function: F) -> F:
            import numba  # noqa: PLC0415 - takes a third of a second

            njit: Any = numba.njit  # its types know no list of arguments

            with self._in_folder():
                found: F = njit(
                    *signature,
                    cache=True,
                    error_model="numpy",
                    nogil=True,
                    # arrays come from outside and stay there: who holds them need not be counted,
                    # which cost as much as a fifth of a flight
                    _nrt=False,
                    forceinline=inline,
                )(function)
            return found

        return decorate

    def callback(self, signature: object) -> Callable[[Callable[..., Any]], Callback]:
        """Decorator: compile a function that code in C calls, or load it, at once."""

        def decorate(function: Callable[..., Any]) -> Callback:
            import numba  # noqa: PLC0415 - as in `compiled`

            with self._in_folder():
                found: Callback = numba.cfunc(signature, cache=True)(function)
            return found

        return decorate

    def prepare(self, load: Callable[[], object], announce: Callable[[str], None] | None) -> None:
        """Compile once, under a lock, whatever `load` imports; say so only if it takes time.

        What has been compiled before is left where it is: to load it is for whoever uses it. Other
        processes that prepare the same kernel meanwhile wait.
        """
        if self.complete():
            return
        with _locked(cache_parent() / f"{self.name}.lock"):
            if self.complete():
                return
            if announce is not None:
                announce(f"compiling the {self.name} kernel (once per version) ...")
            load()
            (self.folder / _COMPLETE).touch()

    def _key(self) -> str:
        # not numba itself: a process that only hands out work need not wait for it
        from llvmlite import binding  # type: ignore[import-untyped]  # noqa: PLC0415

        key = hashlib.sha256()
        for source in self._sources:
            # the path too: numba files its code by the path of the source
            for part in (str(source.resolve()).encode(), source.read_bytes()):
                key.update(len(part).to_bytes(8, "little"))
                key.update(part)
        features = binding.get_host_cpu_features().flatten()
        machine = (version("numba"), version("llvmlite"), binding.get_host_cpu_name(), features)
        key.update("\n".join(machine).encode())
        return key.hexdigest()[:16]

    def _prune(self) -> None:
        """Remove the folders of this kernel that were used longest ago."""
        folders = [f for f in cache_parent().glob(f"{self.name}-*") if f.is_dir()]
        used = {}
        for folder in folders:
            with contextlib.suppress(OSError):  # another process may prune as well
                used[folder] = folder.stat().st_mtime
        for folder in sorted(used, key=used.__getitem__)[:-_KEPT]:
            shutil.rmtree(folder, ignore_errors=True)

    @contextlib.contextmanager
    def _in_folder(self) -> Iterator[None]:
        """Point numba's cache at our folder while it decorates, and only then."""
        from numba.core import config as numba_config  # noqa: PLC0415 - as in `compiled`

        config: Any = numba_config  # fills itself while it is imported

        before = config.CACHE_DIR
        config.CACHE_DIR = str(self.folder)
        try:
            yield
        finally:
            config.CACHE_DIR = before


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Hold an exclusive lock between processes; where the system has none, go on without."""
    try:
        import fcntl  # noqa: PLC0415 - not on every system
    except ImportError:
        yield
        return
    with path.open("a") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
