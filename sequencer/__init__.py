"""A host-side twin of the flight software of a model rocket and of the vehicle around it.

Importing this package loads nothing else, so that ``drycount --help`` answers at once.
"""

from __future__ import annotations

__all__ = ["__version__"]

__version__ = "0.1.0"
