"""The day's vector: which physical parameters a day of running estimates, by name and place.

Flow: estimates/*.py fill it -> HERE -> diagnosis.py weighs it.
Never: a formula.

Logs are natural logs of measured over expected, so 0 = as the site file says. Bands: low, middle, high input power.
"""

from functools import lru_cache

import numpy as np

BANDS = 3
HOURS = 12  # sectors of the sun's way, an hour each, noon between the sixth and the seventh

_BANDED = {
    "q": "log of the flow at the measured power",
    "n": "log of the flow at the measured speed",
    "t": "log of the power at the measured speed",
    "i": "log of the motor current",
    "p": "wellhead pressure above expected at the measured flow, m of water",
    "l": "pumping level below expected at the measured flow, m",
}
_SINGLE = {
    "rest": "resting level below the driller's, m",
    "first": "water that did not come at the first start, in volumes of the riser",
    "stand": "share of the outlet's height that the wellhead gauge had lost before the first start",
    "pw": "log of the input power's own reading over array voltage times current",
    "ai0": "log of array current at maximum power, low sun",
    "ai1": "log of array current at maximum power, high sun",
    "av0": "log of array voltage at maximum power, low sun",
    "av1": "log of array voltage at maximum power, high sun",
    "ap": "log of array power at maximum power",
    "cap": "log of the power at which the pump stands when sun is plenty",
    "cv": "log by which that power stands lower in hours of no less sun: a limit set by hand is flat, heat is not",
    "cn": "log of the speed at that power over the datasheet's fastest",
    "kept": "log-likelihood that this limit is one of power, over that it is one of speed",
    "top": "log of the most power taken through an hour over the pump's ceiling",
    "gc": "log of the irradiance sensor over a clear sky",
}
NAMES: tuple[str, ...] = (
    *(f"{name}{band}" for name in _BANDED for band in range(BANDS)),
    *_SINGLE,
    *(f"s{hour}" for hour in range(HOURS)),
)
PLACE = {name: place for place, name in enumerate(NAMES)}
MEANING = {
    **{f"{name}{band}": text for name, text in _BANDED.items() for band in range(BANDS)},
    **_SINGLE,
    **{f"s{hour}": f"log of array power in hour {hour} of the sun's way" for hour in range(HOURS)},
}
SIZE = len(NAMES)


def empty(days: int) -> np.ndarray:
    """NaN for every parameter of `days` days; shape (days, SIZE)."""
    return np.full((days, SIZE), np.nan)


@lru_cache(maxsize=512)
def last_days(count: int, windows: tuple[int, ...]) -> np.ndarray:
    """Of so many days, the newest last: 1 for each day within each window, float64 (windows, count)."""
    return (np.arange(count) >= count - np.array(windows)[:, None]).astype(float)
