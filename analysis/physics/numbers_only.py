"""Arguments of the physics as arrays of numbers: text is refused, though NumPy would read it.

Flow: HERE -> water.py, cable.py, array_power.py. Never: units, ranges.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def as_numbers(values: ArrayLike, name: str) -> NDArray[np.float64]:
    """As an array of floats.

    Parameters
    ----------
    values : float or array-like, any shape
        In whatever unit `name` ends with. [-]
    name : str
        For the message. [-]

    Returns
    -------
    ndarray, shape of `values`
        The same numbers. [-]

    Raises
    ------
    TypeError
        Text, or None: "20" may be anything.

    References
    ----------
    .. [1] None: a rule of this library.
    """
    found = np.asarray(values)
    if found.dtype.kind not in "fiub":
        raise TypeError(f"{name} must be numbers, got {values!r}")
    return found.astype(float, copy=False)
