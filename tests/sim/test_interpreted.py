"""The kernel as plain Python is the oracle of the compiled one: the same bytes after 200 steps.

The compiler may contract, reorder or widen nothing, then; and every branch that the steps take means in
machine code what it means in Python.
"""

from __future__ import annotations

import pytest
from plants import fingerprint, finish, start_process

STEPS = 200


@pytest.mark.parametrize("name", ["eventful-awake", "gravel-pit-awake", "small-sand-awake", "high-lift-awake"])
def test_interpreted_and_compiled_kernel_give_the_same_bytes(name):
    interpreted = start_process(name, 5, STEPS, NUMBA_DISABLE_JIT="1")
    compiled = fingerprint(name, 5, STEPS)
    assert finish(interpreted) == compiled
