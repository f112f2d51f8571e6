"""Random streams: one for each part and day, all from one seed.

Flow: every part of the plant draws HERE, so that a part drawn more or less often never shifts another.
Never: a global random state.
"""

import zlib

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def stream(seed: int, part: str, day: int = 0) -> np.random.Generator:
    """The generator of one part on one day (days since 1970, any integer)."""
    return np.random.default_rng([seed & 0xFFFFFFFF, zlib.crc32(part.encode()), day & 0xFFFFFFFF])


def day_normals(seed: int, part: str, days: NDArray[np.int64], count: int) -> Floats:
    """Standard normal draws, shape (len(days), count): those of a day never depend on which others are asked for."""
    return np.array([stream(seed, part, int(day)).standard_normal(count) for day in days])
