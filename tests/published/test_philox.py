"""The generator of all chance against the numbers published with it."""

import pytest

from sequencer.world.chance import philox

VECTORS = {
    "zeros": ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    "ones": (
        (0xFFFFFFFF,) * 4,
        (0xFFFFFFFF,) * 2,
        (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD),
    ),
    "digits of pi": (
        (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
        (0xA4093822, 0x299F31D0),
        (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
    ),
}


@pytest.mark.parametrize("name", VECTORS)
def test_philox_answers_as_published(name):
    """Philox4x32-10, known-answer vectors of the Random123 distribution (file kat_vectors).

    Source: J. K. Salmon et al., "Parallel random numbers: as easy as 1, 2, 3", SC11 (2011), and
    the vectors of its code, read in several public copies [T2].
    """
    counter, key, words = VECTORS[name]
    assert tuple(int(word) for word in philox(*counter, *key)) == words
