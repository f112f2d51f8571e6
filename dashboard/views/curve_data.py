"""The pictures as plain lists.

Flow: analysis.pictures -> HERE -> routes/api_pictures.py.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.pictures import ArrayPicture, FlowPicture, Points


def picture_data(picture: FlowPicture | ArrayPicture) -> dict[str, Any]:
    """By the picture's field names; NaN becomes null."""
    return {
        name: points_data(value)
        if isinstance(value, Points)
        else listed(value)
        if isinstance(value, np.ndarray)
        else value
        for name, value in vars(picture).items()
    }


def points_data(points: Points) -> dict[str, list[float | None]]:
    """By the field names."""
    return {name: listed(value) for name, value in vars(points).items()}


def listed(column: NDArray[np.float64]) -> list[float | None]:
    """NaN becomes null."""
    return [float(value) if np.isfinite(value) else None for value in column]
