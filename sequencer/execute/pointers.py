"""Arrays as bare pointers, for compiled functions that hand tables on and on.

numba passes an array as seven numbers and looks at every index whether it counts from the end. A
pointer is one number, and an index is an index: nothing watches that it stays within the array.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

import numpy as np
from numba.core import types
from numba.extending import intrinsic
from numpy.typing import NDArray

__all__ = ["pointer"]


Number = TypeVar("Number", bound=np.generic)
_TYPES: Final[Any] = types  # without annotations
_INTRINSIC: Final[Any] = intrinsic  # its own type knows no callers


def _pointer(_context: Any, array: Any) -> Any:  # noqa: ANN401 - numba's own types
    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:  # noqa: ANN401
        return context.make_array(signature.args[0])(context, builder, given[0]).data

    return _TYPES.CPointer(array.dtype)(array), lower


#: in compiled functions: where the first entry of an array is; it does not keep the array alive
pointer: Callable[[NDArray[Number]], NDArray[Number]] = _INTRINSIC(_pointer)
