"""What lines do to frames: the session survives it, or says one line."""

from __future__ import annotations

import pytest
from reference_board import ReferenceBoard
from wires import Wire, sequence_in, stream_of

from hil.line_faults import FaultyStream, LineFaults
from hil.link import LinkError
from hil.targets import LinkTarget
from sequencer.errors import UsageError
from sequencer.execute import ReferenceExecutor
from sequencer.flight.target import Boot

KINDS = ("lost", "repeated", "reordered", "corrupted", "delayed", "cut")
TICKS = 200


@pytest.fixture
def sequence(tmp_path):
    return sequence_in(tmp_path)


def run(sequence, faults, seed=1, ticks=TICKS):
    """Fly ticks over a line with faults; every one must be the reference's. The stream."""
    board = ReferenceBoard(sequence)
    wire = Wire(board)
    faulty = FaultyStream(wire, faults, seed)
    target = LinkTarget(sequence, faulty, clock=wire.clock)
    mine = ReferenceExecutor(sequence)
    for boot in (Boot.COLD, Boot.WARM):
        target.reset(boot)
        mine.boot(mine.flags() if boot is Boot.WARM else None)
        for tick, values, fresh in stream_of(sequence, ticks, seed):
            assert repr(target.exchange(tick, values, fresh)) == repr(
                mine.tick(tick, values, fresh)
            )
    assert board.ticks_run == 2 * ticks  # none twice
    return faulty, target, wire


@pytest.mark.parametrize("kind", KINDS)
def test_a_session_survives_each_fault_to_the_last_bit(sequence, kind):
    faulty, target, _ = run(sequence, LineFaults(**{kind: 0.12}))
    assert faulty.done[kind] > TICKS // 10
    counters = target.link.counters
    if kind == "repeated":
        assert counters.late > 0
        assert counters.resent == 0
    else:
        assert counters.resent > 0


@pytest.mark.parametrize("seed", range(3))
def test_a_session_survives_all_of_them_together(sequence, seed):
    faulty, target, _ = run(sequence, LineFaults(**dict.fromkeys(KINDS, 0.05)), seed)
    assert all(faulty.done[kind] for kind in KINDS)
    assert target.link.bad_frames > 0


def test_faults_come_the_same_for_the_same_seed(sequence):
    faults = LineFaults(**dict.fromkeys(KINDS, 0.05))
    one, other, third = (run(sequence, faults, seed, 60) for seed in (5, 5, 6))
    # all but the greeting's nonce, which is drawn
    sizes = [[len(data) for data in wire.written] for _, _, wire in (one, other, third)]
    assert one[0].done == other[0].done
    assert sum(sizes[0]) == pytest.approx(sum(sizes[1]), rel=0.02)
    assert one[0].done != third[0].done


def test_a_line_that_is_unplugged_for_a_while(sequence):
    faulty, target, _ = run(sequence, LineFaults(unplugged=((40, 43), (90, 92))))
    assert faulty.done["unplugged"] == 7
    assert target.link.counters.resent >= 7


@pytest.mark.parametrize(
    ("faults", "line"),
    [
        (
            LineFaults(unplugged=((40, 10_000),)),
            "'reference' on wire is silent: no reply within 5 s",
        ),
        (LineFaults(unplugged=((0, 10_000),)), "wire is silent"),
        (LineFaults(lost=1.0), "wire is silent"),
        (LineFaults(cut=1.0), "wire (is silent|babbles)"),
        (LineFaults(corrupted=1.0), "wire (is silent|babbles|sends frames)"),
    ],
)
def test_a_line_that_cannot_be_lived_with_is_told_in_one_line(sequence, faults, line):
    with pytest.raises(LinkError, match=line) as caught:
        run(sequence, faults)
    assert "\n" not in str(caught.value)


def test_a_board_that_loses_its_power_with_the_plug(sequence):
    board = ReferenceBoard(sequence)
    wire = Wire(board)
    target = LinkTarget(sequence, wire, clock=wire.clock)
    target.reset(Boot.COLD)
    target.exchange(0, [1.0, 1.0], [True, True])
    board.power_up()  # it cannot count its boots, and READY was lost
    with pytest.raises(LinkError, match="rebooted"):
        target.exchange(1, [1.0, 1.0], [True, True])


@pytest.mark.parametrize(
    ("chances", "line"),
    [
        ({"lost": 1.5}, "chance of 'lost' is from 0 to 1, not 1.5"),
        ({"cut": float("nan")}, "chance of 'cut'"),
        ({"lost": 0.6, "cut": 0.6}, "come to 1.2, more than 1"),
    ],
)
def test_chances_that_are_none(chances, line):
    with pytest.raises(UsageError, match=line):
        LineFaults(**chances)
