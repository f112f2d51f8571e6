"""Drawdown of a pumped well: by rate (aquifer and well losses) and over time (Theis, Cooper-Jacob, superposition).

Flow: site facts and flow -> HERE -> system_curve.py; well_test.py fits these to tests. Any consistent units may be used for
Theis (m, d, m3/d below). Never: I/O, pandas.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import exp1

Floats = NDArray[np.float64]

EULER_GAMMA = 0.5772156649015329


def step_drawdown_m(flow_m3_h: ArrayLike, linear_m_per_m3_h: float, quadratic_m_per_m3_h2: float) -> Floats:
    """Drawdown of a steadily pumped well, s = B Q + C Q^2.

    Parameters
    ----------
    flow_m3_h : float or ndarray, any shape
        Flow; may hold NaN. Backwards flow is taken as none. [m3/h]
    linear_m_per_m3_h : float
        B, aquifer and linear well losses. [m/(m3/h)]
    quadratic_m_per_m3_h2 : float
        C, turbulent well losses. [m/(m3/h)^2]

    Returns
    -------
    ndarray, shape of `flow_m3_h`
        [m]

    Raises
    ------
    ValueError
        B or C is negative.

    References
    ----------
    .. [1] C. E. Jacob, Trans. ASCE 112, 1047-1064, 1947. From memory.
    """
    if not (linear_m_per_m3_h >= 0 and quadratic_m_per_m3_h2 >= 0):
        raise ValueError(
            "linear_m_per_m3_h and quadratic_m_per_m3_h2 must be 0 or more, "
            f"got {linear_m_per_m3_h!r} and {quadratic_m_per_m3_h2!r}"
        )
    flow = np.maximum(np.asarray(flow_m3_h, float), 0.0)
    return flow * (linear_m_per_m3_h + quadratic_m_per_m3_h2 * flow)


def well_function(u: ArrayLike) -> Floats:
    """Theis well function W(u), the exponential integral E1.

    Parameters
    ----------
    u : float or ndarray, any shape
        r^2 S / (4 T t). [-]

    Returns
    -------
    ndarray, shape of `u`
        NaN where u is NaN or not above 0. [-]

    References
    ----------
    .. [1] C. V. Theis, Trans. AGU 16(2), 519-524, 1935, doi:10.1029/TR016i002p00519.
    """
    values = np.asarray(u, float)
    return np.where(values > 0, exp1(np.where(values > 0, values, 1.0)), np.nan)


def theis_drawdown_m(
    time_d: ArrayLike, flow_m3_d: float, transmissivity_m2_d: float, storativity: float, radius_m: float
) -> Floats:
    """Drawdown in a confined aquifer, time after the start of steady pumping.

    Parameters
    ----------
    time_d : float or ndarray, any shape
        Time since pumping began; 0 drawdown up to 0. [d]
    flow_m3_d : float
        Pumping rate. [m3/d]
    transmissivity_m2_d : float
        [m2/d]
    storativity : float
        [-]
    radius_m : float
        Distance from the pumped well, or its radius. [m]

    Returns
    -------
    ndarray, shape of `time_d`
        NaN where the time is. [m]

    Raises
    ------
    ValueError
        Transmissivity, storativity or radius not above 0 or infinite, or a storativity of 1 and more.

    References
    ----------
    .. [1] C. V. Theis, Trans. AGU 16(2), 519-524, 1935, doi:10.1029/TR016i002p00519.
    """
    _judge_aquifer(transmissivity_m2_d, storativity, radius_m)
    time = np.asarray(time_d, float)
    going = np.where(time > 0, time, 1.0)
    u = radius_m**2 * storativity / (4 * transmissivity_m2_d * going)
    pumped = flow_m3_d / (4 * np.pi * transmissivity_m2_d) * exp1(u)
    return np.where(time > 0, pumped, np.where(np.isnan(time), np.nan, 0.0))


def cooper_jacob_drawdown_m(
    time_d: ArrayLike, flow_m3_d: float, transmissivity_m2_d: float, storativity: float, radius_m: float
) -> Floats:
    """Theis for late times: a straight line over the logarithm of time.

    Parameters
    ----------
    time_d : float or ndarray, any shape
        Time since pumping began. [d]
    flow_m3_d : float
        Pumping rate. [m3/d]
    transmissivity_m2_d : float
        [m2/d]
    storativity : float
        [-]
    radius_m : float
        [m]

    Returns
    -------
    ndarray, shape of `time_d`
        NaN where u is above 0.05: there it is more than 2 % off. [m]

    Raises
    ------
    ValueError
        As `theis_drawdown_m`.

    References
    ----------
    .. [1] H. H. Cooper and C. E. Jacob, Trans. AGU 27(4), 526-534, 1946, doi:10.1029/TR027i004p00526.
    """
    _judge_aquifer(transmissivity_m2_d, storativity, radius_m)
    time = np.asarray(time_d, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.where(time > 0, radius_m**2 * storativity / (4 * transmissivity_m2_d * time), np.nan)
        late = -EULER_GAMMA - np.log(u)
        return np.where(u <= 0.05, flow_m3_d / (4 * np.pi * transmissivity_m2_d) * late, np.nan)


def variable_rate_drawdown_m(
    time_d: ArrayLike,
    start_d: ArrayLike,
    flow_m3_d: ArrayLike,
    transmissivity_m2_d: float,
    storativity: float,
    radius_m: float,
) -> Floats:
    """Theis drawdown under rates that change in steps: each change is a pump of its own.

    Parameters
    ----------
    time_d : float or ndarray, shape (n,)
        Times asked for. [d]
    start_d : array-like, shape (k,)
        When each rate begins, rising. [d]
    flow_m3_d : array-like, shape (k,)
        The rates; 0 for rest. [m3/d]
    transmissivity_m2_d : float
        [m2/d]
    storativity : float
        [-]
    radius_m : float
        [m]

    Returns
    -------
    ndarray, shape (n,)
        [m]

    Raises
    ------
    ValueError
        As `theis_drawdown_m`, or starts that do not rise or match the rates.

    Notes
    -----
    Memory n times k.

    References
    ----------
    .. [1] G. P. Kruseman and N. A. de Ridder, Analysis and Evaluation of Pumping Test Data, ILRI publ. 47, 2nd ed., 1994,
       ch. 12.
    """
    starts, rates = np.atleast_1d(np.asarray(start_d, float)), np.atleast_1d(np.asarray(flow_m3_d, float))
    if starts.shape != rates.shape or not (np.diff(starts) > 0).all():
        raise ValueError(f"start_d must rise and match flow_m3_d, got shapes {starts.shape} and {rates.shape}")
    steps = np.diff(rates, prepend=0.0)
    since = np.asarray(time_d, float)[..., None] - starts
    unit = theis_drawdown_m(since, 1.0, transmissivity_m2_d, storativity, radius_m)
    return np.asarray(unit @ steps)


def _judge_aquifer(transmissivity_m2_d: float, storativity: float, radius_m: float) -> None:
    if not 0 < transmissivity_m2_d < np.inf:
        raise ValueError(f"transmissivity_m2_d must be above 0 and finite, got {transmissivity_m2_d!r}")
    if not 0 < storativity < 1:
        raise ValueError(f"storativity must be above 0 and below 1, got {storativity!r}; is it a percentage?")
    if not 0 < radius_m < np.inf:
        raise ValueError(f"radius_m must be above 0 and finite, got {radius_m!r}")
