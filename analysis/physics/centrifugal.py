"""Multistage centrifugal pump: head and power families in affinity form, fitted to a table.

Flow: table rows -> HERE -> pump_curve.py (inverses, validity, uncertainty).
In units of the reference speed x = n / n_ref: H = x^a f(Q / x^b), P = p0 + p1 x + x^e g(Q / x^b), where f falls (but for
a droop towards shut-off) and a, b, e stay close to the affinity laws' 2, 1, 3 unless several speeds say otherwise (Reynolds number, motor slip,
efficiency of motor and drive). Never: I/O, pandas, site facts.
"""

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from analysis.physics.hydraulic_power import hydraulic_power_w
from analysis.physics.penalised_spline import Basis, choose_weight
from analysis.physics.pump_table import EFFICIENCY_MAX
from analysis.physics.slopes import with_slopes

Floats = NDArray[np.float64]

RUN_OUT_MARGIN = 1.15  # curves reach this far beyond the largest flow of the table
GRID = 1500
SIGMA = 0.015
"""Scatter of a bench's readings; only sets how data weigh against the priors. Between a careful bench's 1 % and ISO 9906's grade 2, which lets flow,
head and power be off by some 3.5 % at two standard deviations (from memory)."""
EXPONENT_STD = (0.03, 0.015, 0.03)
"""How far a, b, e may leave 2, 1, 3: a pump's efficiency falls by 1 to 3 points from full to half speed (common practice, no source); what motor and
drive take beside it is `CONSTANT_LOSS` and `LINEAR_LOSS`, not another exponent."""
CONSTANT_LOSS = (0.010, 0.02)  # p0 as a share of the largest power: prior and its spread (same)
LINEAR_LOSS = (
    0.050,
    0.08,
)  # p1 likewise: iron, seals; a small motor's iron and friction take up to a seventh, a bare shaft nothing
SHUT_OFF_SHARE, SHUT_OFF_SPREAD = 0.55, 0.2  # reduced power at shut-off over that near the largest flow (same)
STRAIGHTEN = 30.0  # how much few rows are drawn towards a straight g; many rows never notice
HUBER = 2.5
DROOP_COEFFICIENTS, DROOP_STEEPEST = 4, 0.10  # where head may rise with flow, and by how much a coefficient of f
DROOP_ROWS, DROOP_SEEN_FROM = 16, 0.15  # fewer rows, or none below that share of the flow, cannot tell a droop


@dataclass(frozen=True)
class CentrifugalCore:
    """A fitted centrifugal pump. Speeds are relative to `reference_rpm`.

    `q_grid`, `h_grid`, `g_grid`: reduced flow [m3/h], reduced head [m] and reduced power [W]. `f_grid` is the least
    falling curve above `h_grid`: they differ where head droops towards shut-off, and there flow of head is that of the
    falling branch, on which a pump settles.
    """

    reference_rpm: float
    exponents: tuple[float, float, float]
    constant_loss_w: float
    linear_loss_w: float
    q_grid: Floats
    f_grid: Floats
    h_grid: Floats
    g_grid: Floats
    q_table_max: float
    leak_head_m: float
    leak_flow_m3_h: float

    @cached_property
    def _by_head(self) -> tuple[Floats, Floats, Floats]:
        """`f_grid`, `q_grid` and `g_grid` as they lie over rising head: turned round once, not at each question."""
        f_rising, q_falling, g_falling = (
            np.ascontiguousarray(grid[::-1]) for grid in (self.f_grid, self.q_grid, self.g_grid)
        )
        return f_rising, q_falling, g_falling

    def flow(self, x: Floats, head_m: Floats) -> Floats:
        """Flow at relative speed and head: 0 where not lifted, held at the end of the curve beyond run-out. [m3/h]"""
        a, b, _ = self.exponents
        x = _forwards(x)
        f_rising, q_falling, _ = self._by_head
        return x**b * np.interp(_reduced(head_m, x, a), f_rising, q_falling)

    def head(self, x: Floats, flow_m3_h: Floats) -> Floats:
        """Head at relative speed and flow; NaN beyond run-out. [m]"""
        a, b, _ = self.exponents
        x = _forwards(x)
        return x**a * np.interp(_ratio(flow_m3_h, x**b), self.q_grid, self.h_grid, right=np.nan)

    def power(self, x: Floats, flow_m3_h: Floats) -> Floats:
        """Power at relative speed and flow, held beyond run-out. [W]"""
        _, b, e = self.exponents
        x = _forwards(x)
        g = np.interp(_ratio(flow_m3_h, x**b), self.q_grid, self.g_grid)
        return self.constant_loss_w + self.linear_loss_w * x + x**e * g

    def power_at_head(self, x: Floats, head_m: Floats) -> Floats:
        """Power at relative speed and head; that of shut-off where nothing is lifted. [W]

        `power` of `flow`, but g is read off over reduced head at once: both grids have the same nodes, between which both are straight.
        """
        a, _, e = self.exponents
        f_rising, _, g_falling = self._by_head
        if _least(x) > 0:  # once for `_forwards` and `_reduced`: a solve asks this hundreds of times of a few speeds
            reduced = head_m / x**a
        else:
            x = _forwards(x)
            reduced = _reduced(head_m, x, a)
        return self.constant_loss_w + self.linear_loss_w * x + x**e * np.interp(reduced, f_rising, g_falling)

    def breakaway_torque_n_m(self, head_m: Floats) -> Floats:
        """Torque that starts the shaft: bearings and seals alone, water asks for none at rest. [N m]"""
        return self.linear_loss_w / (self.reference_rpm * np.pi / 30) + 0.0 * head_m

    def lift_speed(self, head_m: Floats) -> Floats:
        """Relative speed at which the curve's highest head equals the head: below it nothing is lifted. [-]"""
        return np.power(np.maximum(head_m, 0.0) / self.f_grid[0], 1.0 / self.exponents[0])

    def run_out_speed(self, head_m: Floats) -> Floats:
        """Relative speed above which the flow leaves the curve. [-]"""
        return np.power(np.maximum(head_m, 0.0) / self.f_grid[-1], 1.0 / self.exponents[0])

    def leak_m3_h(self, head_m: Floats) -> Floats:
        """Flow that goes back through worn rings at unit wear: as through an orifice, the root of the head. [m3/h]"""
        return self.leak_flow_m3_h * np.sqrt(np.maximum(head_m, 0.0) / self.leak_head_m)


def _least(x: Floats) -> float:
    """The least of all and 1, NaN where any is; `np.min` asks what it was given first, which costs more than the answer for few."""
    return float(np.minimum.reduce(x, axis=None, initial=1.0))


def _forwards(x: Floats) -> Floats:
    return x if _least(x) >= 0 else np.where(x >= 0, x, np.nan)


def _reduced(head_m: Floats, x: Floats, exponent: float) -> Floats:
    """Head at unit speed; endless at rest, also without head. [m]"""
    if _least(x) > 0:
        return head_m / x**exponent
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(x == 0, np.inf, head_m / x**exponent)


def _ratio(flow: Floats, x: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(x > 0, flow / x, np.where(flow > 0, np.inf, 0.0) + 0 * x)


def fit_centrifugal(
    x: Floats, head_m: Floats, flow_m3_h: Floats, power_w: Floats, reference_rpm: float, stiff: bool = False
) -> CentrifugalCore:
    """Fit head and power families to table rows by penalised, robust least squares.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Speed over `reference_rpm`; the largest is 1. [-]
    head_m, flow_m3_h, power_w : ndarray, shape (n,)
        The rows. [m], [m3/h], [W]
    reference_rpm : float
        Speed that x = 1 stands for. [1/min]
    stiff : bool, optional
        Keep both curves next to parabolas, whatever the rows say: for speeds that were inferred. [-]

    Returns
    -------
    CentrifugalCore

    Raises
    ------
    ValueError
        No head is left at shut-off by these rows: some speed, head or flow is in another unit.

    Notes
    -----
    f is a cubic B-spline whose coefficients fall (so head falls with flow), but for a droop towards shut-off where
    there are rows enough and the speeds are known; g is a free one. Both are drawn towards
    parabolas by a third-difference penalty, whose weight generalised cross-validation chooses. Rows far off are
    weighed down after Huber. Below the least reduced flow of the rows g is a guess, and only that part of it is kept with which
    power at a fixed head rises with speed; everywhere, between rows far apart too, it is held to what a pump can do.

    References
    ----------
    .. [1] P. H. C. Eilers and B. D. Marx, Statistical Science 11(2), 89-121, 1996, doi:10.1214/ss/1038425655.
    .. [2] J. F. Gulich, Centrifugal Pumps, Springer: similarity laws and their deviations. From memory.
    """
    q = flow_m3_h / x
    basis = Basis(top=RUN_OUT_MARGIN * float(q.max()) * (1 + 0.05))
    head_scale, power_scale = float((head_m / x**2).max()), float((power_w / x**3).max())
    a, b, f_coef = _fit_head(basis, x, head_m / head_scale, flow_m3_h, stiff)
    p0, p1, e, g_coef = _fit_power(basis, x, power_w, flow_m3_h / x**b, power_scale, stiff)
    # points crowd towards shut-off, where the inverse of f is steepest
    q_grid = RUN_OUT_MARGIN * float(q.max()) * np.linspace(0, 1, GRID) ** 2
    design = basis.matrix(q_grid)
    f_grid = head_scale * (design @ f_coef)
    usable = f_grid > 0.01 * f_grid[0]
    count = GRID if usable.all() else int(np.argmin(usable))
    if count < 2:
        raise ValueError(
            "curve: no head is left at shut-off by these rows' speeds; look for a speed, head or flow in another unit"
        )
    tilt = 1e-7 * f_grid[0] * np.linspace(0, 1, GRID)
    h_grid = f_grid - tilt
    f_grid = np.maximum.accumulate(f_grid[::-1])[::-1] - tilt
    g_grid = np.maximum(design @ g_coef, 0.0)
    g_grid = _rising_from_shut_off(q_grid, f_grid, g_grid, e / a, float((flow_m3_h / x**b).min()))
    g_grid[:count] = _possible(q_grid[:count], f_grid[:count], g_grid[:count], e / a, e / b)
    leak_head = 0.75 * float(f_grid[0])
    leak_flow = float(np.interp(-leak_head, -f_grid, q_grid))
    return CentrifugalCore(
        reference_rpm, (a, b, e), p0, p1, q_grid[:count], f_grid[:count], h_grid[:count], g_grid[:count],
        float(q.max()), leak_head, leak_flow,
    )  # fmt: skip


def _rising_from_shut_off(q: Floats, f: Floats, g: Floats, exponent: float, seen_from: float) -> Floats:
    """g without a dip below the least flow of the rows, where no row speaks for one. [W]

    At a fixed head x = (H / f)^(1/a), so power is in proportion to g / f^(e/a): it is to rise with q from shut-off, or a
    speed that just lifts would ask for more power than a faster one. Power of a radial pump rises from shut-off by itself
    (Gulich, Centrifugal Pumps, from memory); where an axial one's falls, its head falls faster still (common practice, no source).
    """
    guessed = int(np.searchsorted(q, seen_from))
    if guessed == 0:
        return g
    head_power = f[: guessed + 1] ** exponent
    at_fixed_head = np.minimum.accumulate((g[: guessed + 1] / head_power)[::-1])[::-1]
    return np.concatenate([at_fixed_head * head_power, g[guessed + 1 :]])


def _possible(q: Floats, f: Floats, g: Floats, by_head: float, by_flow: float) -> Floats:
    """g without the dips and humps that no pump has, also between rows far apart. [W]

    Rows may lie so far apart that g, a free curve, dips to nothing between them. Three things hold at any speed: water takes no more than
    `EFFICIENCY_MAX` of the power; at a fixed flow (x = (Q / q)^(1/b), power in proportion to g / q^(e/b)) more head asks for
    more power; at a fixed head (as g / f^(e/a)) more flow does. Hydraulic power q f obeys both, as e exceeds a and b. g is
    raised for the first two, lowered only for the third, and never below the first.
    """
    least = hydraulic_power_w(q, f) / EFFICIENCY_MAX
    at_fixed_flow = np.maximum(g[1:], least[1:]) / q[1:] ** by_flow  # shut-off itself has no flow to divide by
    g = np.concatenate([g[:1], np.maximum.accumulate(at_fixed_flow[::-1])[::-1] * q[1:] ** by_flow])
    at_fixed_head = np.minimum.accumulate((np.maximum(g, least) / f**by_head)[::-1])[::-1]
    return np.maximum(at_fixed_head * f**by_head, least)


def _robust(residual: Floats) -> Floats:
    """Square-root Huber weights."""
    spread = max(1.4826 * float(np.median(np.abs(residual))), 0.3)
    return np.sqrt(np.minimum(1.0, HUBER * spread / np.maximum(np.abs(residual), 1e-12)))


def _fit_head(basis: Basis, x: Floats, head: Floats, flow: Floats, stiff: bool) -> tuple[float, float, Floats]:
    """Exponents a, b and coefficients of f, in units of the largest reduced head."""
    sigma = SIGMA * (0.5 * head + 0.5 * x**2)
    weight = choose_weight(basis, flow / x, head / x**2, sigma / x**2, stiff)
    rough = weight * basis.roughness()
    steps = np.tril(np.ones((basis.size, basis.size)), -1)[:, : basis.size - 1]
    several = len(np.unique(np.round(x, 2))) > 1
    keep = np.ones(len(x))

    def coefficients(theta):
        return theta[2] - steps @ theta[3:]

    def predicted(theta, flow):
        return x ** theta[0] * (basis.matrix(flow / x ** theta[1]) @ coefficients(theta))

    @cache
    def design(exponent):  # most steps of a numeric slope move other parameters than this one
        return basis.matrix(flow / x**exponent)

    def residuals(theta, sigma, rough, keep):
        coef = coefficients(theta)
        priors = [(theta[0] - 2) / EXPONENT_STD[0], (theta[1] - 1) / EXPONENT_STD[1], (coef[0] - coef[2]) / 0.15]
        misfit = x ** theta[0] * (design(float(theta[1])) @ coef) - head
        return np.concatenate([keep * misfit / sigma, rough @ coef, priors])

    freedom = 1.0 if several else 1e-6
    low = np.concatenate([[2 - 0.3 * freedom, 1 - 0.2 * freedom, 0.1], np.zeros(basis.size - 1)])
    q = flow / x
    if not stiff and len(x) >= DROOP_ROWS and q.min() < DROOP_SEEN_FROM * q.max():
        low[3 : 3 + DROOP_COEFFICIENTS] = -DROOP_STEEPEST
    high = np.concatenate([[2 + 0.3 * freedom, 1 + 0.2 * freedom, 5.0], np.full(basis.size - 1, 3.0)])
    theta = np.concatenate([[2.0, 1.0, 1.2], np.full(basis.size - 1, 1.0 / basis.size)])
    fun, jac = with_slopes(residuals, low, high)
    for _ in range(2):
        fixed = (sigma, rough, keep)
        theta = least_squares(fun, theta, jac, bounds=(low, high), x_scale="jac", max_nfev=60, args=fixed).x
        # flow was measured too: where the curve is steep its scatter counts as scatter of head (effective variance)
        off = predicted(theta, flow * (1 + SIGMA)) - predicted(theta, flow * (1 - SIGMA))
        sigma = np.hypot(SIGMA * (0.5 * head + 0.5 * x**2), 0.5 * off)
        keep = _robust((predicted(theta, flow) - head) / sigma)
        rough = choose_weight(basis, flow / x, head / x**2, sigma / x**2, stiff) * basis.roughness()
    return float(theta[0]), float(theta[1]), coefficients(theta)


def _fit_power(
    basis: Basis, x: Floats, power: Floats, q: Floats, scale: float, stiff: bool
) -> tuple[float, float, float, Floats]:
    """Constant and linear loss [W], exponent e, coefficients of g [W]."""
    top = float(power.max())
    sigma = SIGMA * power + 0.003 * top * x**2  # slow rows are small, and are to be met in proportion
    weight = choose_weight(basis, q, power / x**3 / scale, sigma / x**3 / scale, stiff)
    shut_off = basis.matrix(np.array([0.0])) - SHUT_OFF_SHARE * basis.matrix(np.array([0.85 * float(q.max())]))
    gentle = (STRAIGHTEN / len(x)) * basis.roughness(2)
    rough = np.vstack([weight * basis.roughness(), gentle, shut_off / SHUT_OFF_SPREAD]) / scale
    several = len(np.unique(np.round(x, 2))) > 1
    keep = np.ones(len(x))
    design_q = basis.matrix(q)
    widen = 1.0 if several else 0.2

    def solved(e):
        """Linear least squares for p0, p1, g at this exponent, and its residuals."""
        data = np.column_stack([np.ones(len(x)), x, x[:, None] ** e * design_q])
        priors = np.zeros((2, data.shape[1]))
        priors[0, 0], priors[1, 1] = 1 / (widen * CONSTANT_LOSS[1] * top), 1 / (widen * LINEAR_LOSS[1] * top)
        centre = np.array([CONSTANT_LOSS[0], LINEAR_LOSS[0]]) * top * np.diag(priors)
        matrix = np.vstack([data * (keep / sigma)[:, None], np.pad(rough, ((0, 0), (2, 0))), priors])
        target = np.concatenate([keep * power / sigma, np.zeros(len(rough)), centre])
        coef = np.linalg.lstsq(matrix, target, rcond=None)[0]
        if coef[0] < 0 or coef[1] < 0:  # a loss is no gain: hold it at 0 and solve again
            hold = np.zeros((2, data.shape[1]))
            hold[[0, 1], [0, 1]] = 1e6 * (coef[:2] < 0) / top
            coef = np.linalg.lstsq(np.vstack([matrix, hold]), np.concatenate([target, [0, 0]]), rcond=None)[0]
        return coef, matrix @ coef - target, (data @ coef - power) / sigma

    def cost(theta):
        return np.concatenate([solved(theta[0])[1], [(theta[0] - 3) / EXPONENT_STD[2]]])

    e = 3.0
    for _ in range(2):
        if several:
            e = float(least_squares(cost, [e], bounds=([2.2], [4.0]), diff_step=1e-3, max_nfev=20).x[0])
        coef, _, misfit = solved(e)
        keep = _robust(misfit)
    coef = solved(e)[0]
    return max(float(coef[0]), 0.0), max(float(coef[1]), 0.0), e, coef[2:]
