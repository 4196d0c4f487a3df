"""What the last bit of a flight depends on beside the scenario's files."""

from __future__ import annotations

import functools
import hashlib
import math
import platform
import struct
from importlib.metadata import version
from pathlib import Path

__all__ = ["different", "platform_here"]

#: what has no part in a flight, or only tells of it
_APART = {"cli", "demo", "lint", "logs", "report", "testing"}


@functools.cache
def platform_here() -> dict[str, str]:
    """Versions, processor, maths library and our own sources, by name; equal ones fly alike."""
    from llvmlite import binding  # type: ignore[import-untyped]  # noqa: PLC0415 - takes a while

    features = binding.get_host_cpu_features().flatten()
    return {
        "drycount": version("drycount"),
        "sources": _sources(),
        "python": platform.python_version(),
        **{name: version(name) for name in ("numpy", "numba", "llvmlite")},
        "machine": f"{platform.system()} {platform.machine()} {binding.get_host_cpu_name()}",
        "features": hashlib.sha256(features.encode()).hexdigest()[:16],
        "library": " ".join(platform.libc_ver()),
        "functions": _functions(),
    }


def different(here: dict[str, str], there: dict[str, str]) -> str | None:
    """The first thing in which two platforms differ, in words, or None."""
    for name in {**here, **there}:
        ours, theirs = here.get(name, "unknown"), there.get(name, "unknown")
        if ours != theirs:
            return f"{name} {theirs}, here {ours}"
    return None


def _sources() -> str:
    """Hash of all modules that have a part in a flight, wherever they are installed."""
    here = Path(__file__).parent.parent
    whole = hashlib.sha256()
    for path in sorted(here.rglob("*.py")):
        name = path.relative_to(here)
        if name.parts[0] not in _APART:
            for part in (name.as_posix().encode(), path.read_bytes()):
                whole.update(len(part).to_bytes(8, "little") + part)
    return whole.hexdigest()[:16]


def _functions() -> str:
    """Hash of what the maths library gives for arguments all over the range of a flight."""
    whole = hashlib.sha256()
    for index in range(1, 2000):
        x = index * 0.6180339887498949 % 1.0 * 40.0 - 20.0
        found = (math.sin(x), math.cos(x), math.tan(x), math.atan2(x, 3.7), math.exp(x))
        positive = (math.log(abs(x)), abs(x) ** 0.19026, math.asin(x / 20.1), math.hypot(x, 0.7))
        whole.update(struct.pack("<9d", *found, *positive))
    return whole.hexdigest()[:16]
