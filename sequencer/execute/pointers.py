"""Arrays as bare pointers, for compiled functions that hand tables on and on.

numba passes an array as seven numbers and looks at every index whether it counts from the end. A
pointer is one number, and an index is an index: nothing watches that it stays within the array.
"""

from __future__ import annotations

from typing import Any

from numba.core import types
from numba.extending import intrinsic

__all__ = ["pointer"]


@intrinsic
def pointer(_context: Any, array: Any) -> Any:  # noqa: ANN401 - numba's own types
    """In compiled functions: where the first entry of an array is. It does not keep it alive."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:  # noqa: ANN401
        return context.make_array(signature.args[0])(context, builder, given[0]).data

    return types.CPointer(array.dtype)(array), lower
