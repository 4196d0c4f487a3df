"""Modified condition/decision coverage against tables of independence pairs and minimal test sets.

Sources: Hayhurst, Veerhusen, Chilenski, Rierson, "A Practical Tutorial on Modified
Condition/Decision Coverage", NASA/TM-2001-210876, May 2001 (title page [T], contents [M]);
Chilenski, DOT/FAA/AR-01/18, April 2001, unique cause, unique cause + masking, masking (title [T],
definitions [M]); Ammann and Offutt, "Introduction to Software Testing": at least n + 1 tests, at
most 2n (Chilenski and Miller 1994) [T2]. The tables are all pairs and minimal sets by exhaustive
search [C]; the pairs of (a or b) and (c or d) are also those that the Ruby gem `logic` prints [T].

A row's number is its binary value with A as the most significant bit.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from sequencer.sequence.decisions import FALSE, TRUE, outcome
from sequencer.studies.independence import Question, turned

A, B, C, D = range(4)


def both(*operands):
    return ("and", operands)


def either(*operands):
    return ("or", operands)


def neither(operand):
    return ("not", (operand,))


XOR = either(both(A, neither(B)), both(neither(A), B))
MAJORITY = either(both(A, B), both(A, C), both(B, C))

#: shape, leaves, pairs per leaf, size of the minimal sets, how many there are, some of them
TABLE = {
    "A and B": (both(A, B), 2, ["1-3", "2-3"], 3, 1, ["1 2 3"]),
    "A or B": (either(A, B), 2, ["0-2", "0-1"], 3, 1, ["0 1 2"]),
    "A xor B": (XOR, 2, ["0-2 1-3", "0-1 2-3"], 3, 4, ["0 1 2", "0 1 3", "0 2 3", "1 2 3"]),
    "A and B and C": (both(A, B, C), 3, ["3-7", "5-7", "6-7"], 4, 1, ["3 5 6 7"]),
    "A and (B or C)": (
        both(A, either(B, C)), 3, ["1-5 2-6 3-7", "4-6", "4-5"], 4, 2, ["1 4 5 6", "2 4 5 6"],
    ),
    "(A and B) or C": (
        either(both(A, B), C), 3, ["2-6", "4-6", "0-1 2-3 4-5"], 4, 2, ["2 3 4 6", "2 4 5 6"],
    ),
    "(A or B) and (C or D)": (
        both(either(A, B), either(C, D)),
        4,
        ["1-9 2-10 3-11", "1-5 2-6 3-7", "4-6 8-10 12-14", "4-5 8-9 12-13"],
        5,
        4,
        ["1 4 5 6 9", "1 5 8 9 10", "2 4 5 6 10", "2 6 8 9 10"],
    ),
    "(A and B) or (C and D)": (
        either(both(A, B), both(C, D)),
        4,
        ["4-12 5-13 6-14", "8-12 9-13 10-14", "1-3 5-7 9-11", "2-3 6-7 10-11"],
        5,
        4,
        ["5 6 7 9 13", "5 6 7 10 14", "5 9 10 11 13", "6 9 10 11 14"],
    ),
    "A and (B or C) and not D": (
        both(A, either(B, C), neither(D)),
        4,
        ["2-10 4-12 6-14", "8-12", "8-10", "10-11 12-13 14-15"],
        5,
        4,
        ["2 8 10 11 12"],
    ),
    "majority of three": (MAJORITY, 3, ["1-5 2-6", "1-3 4-6", "2-3 4-5"], 4, 6, []),
    "(A and B) or (not A and C)": (
        either(both(A, B), both(neither(A), C)),
        3,
        ["1-5 2-6", "4-6 5-7", "0-1 2-3"],
        4,
        2,
        ["0 1 5 7", "2 3 4 6"],
    ),
}  # fmt: skip


def row(number, size):
    return bytes(number >> (size - 1 - leaf) & 1 for leaf in range(size))


def number_of(leaves):
    return int("".join(map(str, leaves)), 2)


def shown(shape, size, rows):
    seen = [row(number, size) for number in rows]
    yes = [one for one in seen if outcome(shape, one) == TRUE]
    no = [one for one in seen if outcome(shape, one) == FALSE]
    return Question(shape, size).shown(yes, no)


def covers(shape, size, rows):
    return all(one.unique for one in shown(shape, size, rows))


@pytest.mark.parametrize("decision", TABLE)
def test_independence_pairs(decision):
    """Exactly the pairs of rows of the table show that a leaf decides [C]."""
    shape, size, pairs, *_ = TABLE[decision]
    for leaf in range(size):
        found = {
            (min(pair), max(pair))
            for number in range(2**size)
            for pair in [(number, number_of(turned(row(number, size), leaf)))]
            if shown(shape, size, pair)[leaf].unique
        }
        wanted = {tuple(map(int, pair.split("-"))) for pair in pairs[leaf].split()}
        assert found == wanted


@pytest.mark.parametrize("decision", TABLE)
def test_minimal_sets(decision):
    """Fewest rows that show all leaves, how many such sets there are, and which [C]."""
    shape, size, _, fewest, count, sets = TABLE[decision]
    assert size + 1 <= fewest <= 2 * size  # Chilenski and Miller 1994 [T2]
    # a set that shows them all goes on doing so with a row more: one size below is enough
    assert not any(covers(shape, size, s) for s in combinations(range(2**size), fewest - 1))
    found = {s for s in combinations(range(2**size), fewest) if covers(shape, size, s)}
    assert len(found) == count
    assert {tuple(map(int, one.split())) for one in sets} <= found


@pytest.mark.parametrize("decision", TABLE)
def test_a_unique_cause_is_one_by_masking_too(decision):
    """Masking accepts whatever unique cause accepts, and needs no more rows [M]."""
    shape, size, *_ = TABLE[decision]
    for rows in combinations(range(2**size), 3):
        for one in shown(shape, size, rows):
            assert one.unique is None or one.masking is not None


def test_masking_lets_masked_leaves_change():
    """(A and B) or (C and D): rows 5 and 14 differ in A, C, D, and C and D is false in both [C].

    For unique cause they show nothing; by masking they show A (Chilenski 2001 [M]).
    """
    shape = TABLE["(A and B) or (C and D)"][0]
    found = shown(shape, 4, (5, 14))
    assert [bool(one.masking) for one in found] == [True, False, False, False]
    assert not any(one.unique for one in found)


def test_masking_wants_the_decision_to_change():
    """A xor B: rows 1 and 2 differ in A, which decides in both, but both are true [C]."""
    assert not any(one.masking for one in shown(XOR, 2, (1, 2)))
