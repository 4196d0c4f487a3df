"""The C kit against the reference executor: every event, output and register, to the last bit."""

from __future__ import annotations

import math
from functools import partial
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kit_rig import KitExecutor, build_host

from sequencer.testing.agreement import first_difference
from sequencer.testing.streams import random_ride


@pytest.fixture(scope="module")
def kit(tmp_path_factory):
    # the sanitizer of undefined behaviour needs nothing preloaded when it ends the program
    undefined = ("-fsanitize=undefined", "-fno-sanitize-recover=undefined")
    return build_host(tmp_path_factory.mktemp("kit"), *undefined)


@pytest.fixture(scope="module")
def single(tmp_path_factory):
    return build_host(tmp_path_factory.mktemp("kit_single"), "-DDC_SINGLE")


@given(st.randoms(use_true_random=False))
@settings(max_examples=150)
def test_random_sequences_give_the_reference_s_bits(kit, rng):
    """All blocks and commands; inputs that are stale, jump, or are no numbers; reboots."""
    ride = random_ride(Random(rng.getrandbits(64)))
    assert first_difference(ride, partial(KitExecutor, library=kit)) is None
