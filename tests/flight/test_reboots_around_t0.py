"""Either computer of the demo may reboot at any moment around T-0; somebody must stay in charge."""

from __future__ import annotations

from pathlib import Path

import pytest
from flying import fly

#: s; T-0 is at 12.20, release at 12.52, liftoff at 12.65
MOMENTS = [11.94, 12.02, 12.1, 12.18, 12.26, 12.34, 12.42, 12.5, 12.54, 12.58, 12.66, 12.74]


@pytest.mark.parametrize("at_s", MOMENTS)
@pytest.mark.parametrize("computer", ["pad", "flight"])
def test_a_reboot_loses_no_vehicle(folder: Path, computer: str, at_s: float) -> None:
    """It stays clamped, or it comes home; it is never let go with nobody awake on board."""
    more = (
        f'[[faults]]\nname = "power dips"\nkind = "reboot"\nplace = "{computer}"\n'
        f"at_s = {at_s}\nfor_s = 0.05"
    )
    record = fly(folder, more, stop=60.0)
    assert record.outcome in {"on_pad", "recovered", "landed"}
    broken = {verdict.requirement for verdict in record.verdicts if verdict.status == "broken"}
    assert broken <= {"lift is noticed", "upright under thrust"}
    released = record.first("released") is not None
    assert released == (record.outcome != "on_pad")
