"""The flow picture as plain lists.

Flow: analysis.pictures.FlowPicture -> HERE -> routes/api_sites.py.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

from dashboard.views.flow_svg import thinned_marks

if TYPE_CHECKING:
    from analysis.pictures import FlowPicture


def flow_data(picture: "FlowPicture") -> dict[str, Any]:
    """By the picture's field names; marks thinned as in the drawing."""
    return {
        "power_w": [float(value) for value in np.asarray(picture.power_w)],
        **{name: _nullable(getattr(picture, name)) for name in ("expected_m3_h", "low", "high")},
        **{name: thinned_marks(getattr(picture, name)).tolist() for name in ("before", "after")},
    }


def _nullable(column: object) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in np.asarray(column, float)]
