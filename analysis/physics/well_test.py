"""Fit a pumping test: Theis, Cooper-Jacob, Thiem, and step tests by Hantush-Bierschenk and Eden-Hazel.

Flow: an engineer's test readings -> HERE -> the site file's well table. Formulas in well_drawdown.py.
Textbooks fit such tests by eye; least squares on the same readings may differ by 20 %, and so do windows of time.
Never: I/O, pandas.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from analysis.physics.well_drawdown import EULER_GAMMA, well_function

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AquiferFit:
    """Transmissivity [m2/d], storativity [-] and the root mean square misfit [m]."""

    transmissivity_m2_d: float
    storativity: float
    misfit_m: float


@dataclass(frozen=True)
class StepFit:
    """B [m/(m3/d)] and C [m/(m3/d)^2] of s = B Q + C Q^2; transmissivity [m2/d] where the method gives one."""

    linear_d_m2: float
    quadratic_d2_m5: float
    misfit_m: float
    transmissivity_m2_d: float | None = None


def fit_theis(time_d: ArrayLike, drawdown_m: ArrayLike, flow_m3_d: float, radius_m: ArrayLike) -> AquiferFit:
    """Transmissivity and storativity by least squares on drawdown.

    Parameters
    ----------
    time_d, drawdown_m : array-like, shape (n,)
        Readings, from one or several piezometers. [d], [m]
    flow_m3_d : float
        Steady pumping rate. [m3/d]
    radius_m : float or array-like, shape (n,)
        Distance of each reading's piezometer. [m]

    Returns
    -------
    AquiferFit

    Raises
    ------
    ValueError
        Fewer than 3 usable readings, or rate or radius not above 0.

    References
    ----------
    .. [1] C. V. Theis, Trans. AGU 16(2), 519-524, 1935, doi:10.1029/TR016i002p00519.
    """
    time, drawn, radius = np.broadcast_arrays(*(np.asarray(v, float) for v in (time_d, drawdown_m, radius_m)))
    usable = (time > 0) & np.isfinite(drawn)
    if usable.sum() < 3 or not flow_m3_d > 0 or not (radius > 0).all():
        raise ValueError("needs 3 readings or more at time_d above 0, flow_m3_d and radius_m above 0")
    time, drawn, radius = time[usable], drawn[usable], radius[usable]

    def residuals(theta: Floats) -> Floats:
        transmissivity, storativity = np.exp(theta)
        u = radius**2 * storativity / (4 * transmissivity * time)
        return flow_m3_d / (4 * np.pi * transmissivity) * well_function(u) - drawn

    start = np.log([flow_m3_d / (4 * np.pi * max(drawn.max(), 1e-3)) * 5, 1e-4])
    fit = least_squares(residuals, start, x_scale="jac", xtol=1e-13, ftol=1e-13)
    transmissivity, storativity = np.exp(fit.x)
    return AquiferFit(float(transmissivity), float(storativity), float(np.sqrt(np.mean(fit.fun**2))))


def fit_cooper_jacob(
    time_d: ArrayLike, drawdown_m: ArrayLike, flow_m3_d: float, radius_m: float, window_d: tuple[float, float]
) -> AquiferFit:
    """Transmissivity and storativity from a straight line over the logarithm of time.

    Parameters
    ----------
    time_d, drawdown_m : array-like, shape (n,)
        Readings. [d], [m]
    flow_m3_d : float
        Steady pumping rate. [m3/d]
    radius_m : float
        [m]
    window_d : tuple of float
        First and last time that the line is drawn through; the answer depends on it. [d]

    Returns
    -------
    AquiferFit

    Raises
    ------
    ValueError
        Fewer than 2 readings in the window.

    References
    ----------
    .. [1] H. H. Cooper and C. E. Jacob, Trans. AGU 27(4), 526-534, 1946, doi:10.1029/TR027i004p00526.
    """
    time, drawn = np.asarray(time_d, float), np.asarray(drawdown_m, float)
    inside = (time >= window_d[0]) & (time <= window_d[1]) & np.isfinite(drawn)
    if inside.sum() < 2:
        raise ValueError(f"window_d {window_d!r} holds {int(inside.sum())} readings, needs 2 or more")
    log_time = np.log10(time[inside])
    cycle, at_one_day = np.polyfit(log_time, drawn[inside], 1)
    transmissivity = np.log(10) * flow_m3_d / (4 * np.pi * cycle)
    time_zero = 10 ** (-at_one_day / cycle)
    storativity = 4 * np.exp(-EULER_GAMMA) * transmissivity * time_zero / radius_m**2
    misfit = drawn[inside] - (cycle * log_time + at_one_day)
    return AquiferFit(float(transmissivity), float(storativity), float(np.sqrt(np.mean(misfit**2))))


def thiem_transmissivity_m2_d(
    flow_m3_d: float, near_m: float, near_drawdown_m: float, far_m: float, far_drawdown_m: float
) -> float:
    """Transmissivity from the steady drawdown at two distances.

    Parameters
    ----------
    flow_m3_d : float
        Steady pumping rate. [m3/d]
    near_m : float
        Distance of the nearer piezometer. [m]
    near_drawdown_m : float
        Drawdown there. [m]
    far_m : float
        Distance of the farther one. [m]
    far_drawdown_m : float
        Drawdown there, less than near. [m]

    Returns
    -------
    float
        [m2/d]

    Raises
    ------
    ValueError
        Far is not further, or not less drawn down.

    References
    ----------
    .. [1] G. Thiem, Hydrologische Methoden, Leipzig, 1906; Kruseman and de Ridder 1994, ch. 3.
    """
    if not (far_m > near_m > 0 and near_drawdown_m > far_drawdown_m):
        raise ValueError("far_m must be above near_m, and near_drawdown_m above far_drawdown_m")
    return flow_m3_d * np.log(far_m / near_m) / (2 * np.pi * (near_drawdown_m - far_drawdown_m))


def fit_hantush_bierschenk(flow_m3_d: ArrayLike, drawdown_m: ArrayLike) -> StepFit:
    """B and C from a straight line through s / Q over Q.

    Parameters
    ----------
    flow_m3_d : array-like, shape (k,)
        The rates of the steps. [m3/d]
    drawdown_m : array-like, shape (k,)
        Sum of the increments of drawdown up to each step, each taken at the same time after its start with the earlier
        steps' trend taken off. Plain readings at the steps' ends give a C that is too high. [m]

    Returns
    -------
    StepFit

    Raises
    ------
    ValueError
        Fewer than 3 steps, or rates not above 0.

    References
    ----------
    .. [1] W. H. Bierschenk, IASH publ. 64, 329-338, 1963; Kruseman and de Ridder 1994, ch. 14.
    """
    flow, drawn = np.asarray(flow_m3_d, float), np.asarray(drawdown_m, float)
    if len(flow) < 3 or len(flow) != len(drawn) or not (flow > 0).all():
        raise ValueError(f"needs 3 steps or more with flow_m3_d above 0, got {len(flow)} rates, {len(drawn)} drawdowns")
    quadratic, linear = np.polyfit(flow, drawn / flow, 1)
    misfit = drawn - flow * (linear + quadratic * flow)
    return StepFit(float(linear), float(quadratic), float(np.sqrt(np.mean(misfit**2))))


def fit_eden_hazel(time_d: ArrayLike, drawdown_m: ArrayLike, start_d: ArrayLike, flow_m3_d: ArrayLike) -> StepFit:
    """B, C and transmissivity from all readings of a step test, steps superposed as Cooper-Jacob lines.

    Parameters
    ----------
    time_d, drawdown_m : array-like, shape (n,)
        Readings in the pumped well, a few minutes and more after each step's start. [d], [m]
    start_d, flow_m3_d : array-like, shape (k,)
        When each step began, rising, and its rate. [d], [m3/d]

    Returns
    -------
    StepFit
        B as it is one day after the start.

    Raises
    ------
    ValueError
        Fewer than 4 readings, or steps that do not rise or match.

    Notes
    -----
    s = a Q + b sum(dQ log10(t - t_start)) + C Q^2, linear least squares in a, b and C; T = ln(10) / (4 pi b).

    References
    ----------
    .. [1] R. N. Eden and C. P. Hazel, Inst. Eng. Australia Civ. Eng. Trans., 5-10, 1973; Kruseman and de Ridder 1994, ch. 14.
    """
    time, drawn = np.asarray(time_d, float), np.asarray(drawdown_m, float)
    starts, rates = np.asarray(start_d, float), np.asarray(flow_m3_d, float)
    if starts.shape != rates.shape or not (np.diff(starts) > 0).all():
        raise ValueError("start_d must rise and match flow_m3_d")
    since = time[:, None] - starts
    begun = since > 0
    usable = begun.any(axis=1) & np.isfinite(drawn)
    if usable.sum() < 4:
        raise ValueError(f"needs 4 readings or more after the first start, got {int(usable.sum())}")
    steps = np.diff(rates, prepend=0.0)
    logs = np.where(begun, np.log10(np.where(begun, since, 1.0)), 0.0) @ steps
    rate = rates[np.maximum(begun.sum(axis=1) - 1, 0)]
    design = np.column_stack([rate, logs, rate**2])[usable]
    (linear, slope, quadratic), *_ = np.linalg.lstsq(design, drawn[usable], rcond=None)
    misfit = design @ [linear, slope, quadratic] - drawn[usable]
    return StepFit(
        float(linear), float(quadratic), float(np.sqrt(np.mean(misfit**2))), float(np.log(10) / (4 * np.pi * slope))
    )


def well_efficiency(flow: ArrayLike, linear: float, quadratic: float) -> Floats:
    """Share of the drawdown that is not turbulent loss, B Q / (B Q + C Q^2).

    Parameters
    ----------
    flow : float or ndarray
        In the unit of B and C. [m3/h or m3/d]
    linear, quadratic : float
        B and C. [m/flow], [m/flow^2]

    Returns
    -------
    ndarray, shape of `flow`
        1 at no flow. [-]

    Raises
    ------
    ValueError
        B not above 0 or C negative.

    References
    ----------
    .. [1] Kruseman and de Ridder 1994, ch. 14.
    """
    if not (linear > 0 and quadratic >= 0):
        raise ValueError(f"linear must be above 0 and quadratic 0 or more, got {linear!r} and {quadratic!r}")
    return linear / (linear + quadratic * np.asarray(flow, float))
