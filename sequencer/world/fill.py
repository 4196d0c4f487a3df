"""Fills a record of the world by field names."""

from __future__ import annotations

from typing import Any

import numpy as np

__all__ = ["fill"]


def fill(params: np.void, **fields: Any) -> None:
    """Set scalar fields, and the first entries of array fields."""
    for name, value in fields.items():
        if np.ndim(value) == 0:
            params[name] = value
        elif len(value):
            params[name][: len(value)] = value
