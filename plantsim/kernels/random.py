"""Random numbers whose state lives in the plant's records, so that a save point holds them too.

splitmix64 (Steele, Lea and Flood, OOPSLA 2014): one 64-bit state, one add and three mixing rounds.
"""

from __future__ import annotations

import numpy as np
from numba import config

from plantsim.jit import kernel

_GAMMA = np.uint64(0x9E3779B97F4A7C15)
_MIX1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX2 = np.uint64(0x94D049BB133111EB)
_S30, _S27, _S31 = np.uint64(30), np.uint64(27), np.uint64(31)
_S48, _S32, _S16, _LOW16 = np.uint64(48), np.uint64(32), np.uint64(16), np.uint64(0xFFFF)
_S11 = np.uint64(11)
_NORMAL = 1.7320508075688772 / 65536.0  # the sum of four 16-bit uniforms has variance 65536^2 / 3
_UNIT = 1.0 / 9007199254740992.0


@kernel
def _sum(a, b):
    return a + b


@kernel
def _product(a, b):
    return a * b


if config.DISABLE_JIT:  # type: ignore[attr-defined]
    # numpy's scalars wrap round as machine words do, but warn of it: whole numbers do not
    _WORD = (1 << 64) - 1

    def _sum(a, b):
        return np.uint64((int(a) + int(b)) & _WORD)

    def _product(a, b):
        return np.uint64((int(a) * int(b)) & _WORD)


@kernel
def advance_state(state):
    """The next state (int64) of a generator."""
    return np.int64(_sum(np.uint64(state), _GAMMA))


@kernel
def bits(state):
    """64 random bits (uint64) of a state."""
    z = np.uint64(state)
    z = _product(z ^ (z >> _S30), _MIX1)
    z = _product(z ^ (z >> _S27), _MIX2)
    return z ^ (z >> _S31)


@kernel
def uniform(state):
    """Uniform number in [0, 1) of a state."""
    return np.float64(bits(state) >> _S11) * _UNIT


@kernel
def normal(state):
    """Near-normal number of a state: mean 0, variance 1, never beyond 3.5.

    Sum of four uniforms (Irwin-Hall), which is cheap, bounded and close enough to normal for instrument
    noise and slow wander; it is not meant for tail statistics.
    """
    z = bits(state)
    total = (z >> _S48) + ((z >> _S32) & _LOW16) + ((z >> _S16) & _LOW16) + (z & _LOW16)
    return (np.float64(total) - 131070.0) * _NORMAL
