"""Keeps a command from loading what it will not use."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["lean_numba"]

_UNUSED = ("scipy.linalg", "scipy.linalg.cython_blas")


@contextmanager
def lean_numba() -> Iterator[None]:
    """While it lasts numba finds no linear algebra of SciPy's.

    Where SciPy is installed numba loads it together with the first compiled function: half a second
    for matrix products that the flight kernel never takes. For processes of our own only: numba
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
