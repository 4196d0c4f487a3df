"""Machine code that flights need, compiled ahead of them."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["prepare"]


def prepare(
    announce: Callable[[str], None] | None = None,
    executor: str = "compiled",
    *,
    watched: bool = False,
) -> None:
    """Compile for this machine whatever has not been compiled for this version yet.

    Call it once before workers start: a second process waits here instead of compiling as well.

    announce   gets one line for each kernel that will take long (some ten seconds)
    executor   only the compiled one needs code of its own
    watched    whether decisions will be looked at
    """
    # late: looking for scenarios and handing out work needs neither
    from sequencer.execute.jit import prepare as prepare_logic  # noqa: PLC0415
    from sequencer.world import prepare as prepare_world  # noqa: PLC0415

    prepare_world(announce)
    if executor == "compiled":
        prepare_logic(announce)
    if watched:
        from sequencer.execute.deciding import prepare as prepare_decisions  # noqa: PLC0415

        prepare_decisions(announce)
