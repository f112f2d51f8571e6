"""Synthetic pumps of known truth, written apart from the code that fits them.

They leave the affinity laws on purpose: efficiency that follows speed, motor slip, constant and current-dependent electric losses.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.physics import fit_curve

WH_PER_M3_M = 2.72
SITE_ROWS = {  # the invented example of a site file: helical rotor
    "head_m": [40.0, 40, 60, 60],
    "power_w": [333.0, 1159, 466, 1518],
    "flow_m3_h": [1.26, 5.04, 1.17, 4.95],
    "speed_rpm": [800.0, 2900, 800, 2900],
}


@dataclass(frozen=True)
class BenchPump:
    """A centrifugal pump on a bench, drawn by seed."""

    best_flow: float
    head: float
    fall: float
    power_law: float
    efficiency: float
    idle: float
    reynolds: float
    droop: float = 0.0
    slip: float = 0.0
    electric: bool = True

    def at(self, speed_rpm, flow):
        """Head m and power W at nominal speed and flow."""
        s = np.asarray(speed_rpm, float) / 2900
        s = s * (1 - 0.04 * self.slip * (0.4 + flow / s / self.best_flow) * s)
        q = flow / s / self.best_flow
        shape = 1 + 0.25 * self.droop * q * np.exp(-2.5 * q) - self.fall * q**self.power_law - 0.08 * q
        head = self.head * s**2 * (1 + 0.05 * np.log(s) * self.reynolds) * shape
        full = self.head * self.best_flow * (1 - self.fall - 0.08) * WH_PER_M3_M / self.efficiency
        shaft = full * s ** (3 - 0.15 * self.reynolds) * (self.idle + (1 - self.idle) * q * (1.35 - 0.35 * q))
        losses = 0.04 / s * shaft + full * (0.02 + 0.03 * s + 0.06 * (shaft / full / s) ** 2)
        return head, shaft + losses * self.electric

    def flow(self, speed_rpm, head):
        """Flow of one speed at one head, 0 where it is not lifted."""
        if self.at(speed_rpm, 0.0)[0] <= head:
            return 0.0
        return brentq(lambda q: self.at(speed_rpm, q)[0] - head, 0.0, 3 * self.best_flow)

    def rows(self, rng, speeds, points, noise):
        """Measured and true rows, uneven, other flows at each speed, mostly with a shut-off row."""
        blocks = []
        for speed in speeds:
            share = np.sort(rng.uniform(0, 1.5, points + int(rng.integers(-2, 3))))
            share[0] = 0.0 if rng.random() < 0.7 else share[0]
            flow = share * self.best_flow * speed / 2900
            head, power = self.at(speed, flow)
            block = np.column_stack([np.full(len(flow), speed), flow, head, power])
            blocks.append(block[head > 0.1 * self.head * (speed / 2900) ** 2])
        true = np.vstack(blocks)
        measured = true.copy()
        measured[:, 1:] *= 1 + noise * rng.standard_normal((len(true), 3))
        return measured, true


def draw_pump(rng, **rest):
    return BenchPump(
        best_flow=rng.uniform(2, 60), head=rng.uniform(30, 250), fall=rng.uniform(0.25, 0.6),
        power_law=rng.uniform(1.6, 2.6), efficiency=rng.uniform(0.4, 0.62), idle=rng.uniform(0.3, 0.65),
        reynolds=rng.uniform(0, 1), **rest,
    )  # fmt: skip


def as_curve(rows):
    return dict(zip(("speed_rpm", "flow_m3_h", "head_m", "power_w"), rows.T, strict=True))


@pytest.fixture(scope="session")
def bench():
    """(draw_pump, as_curve): a pump drawn from a generator, and its rows as fit_curve takes them."""
    return draw_pump, as_curve


@pytest.fixture(scope="session")
def helical():
    return fit_curve(SITE_ROWS, "helical-rotor")


@pytest.fixture(scope="session")
def centrifugal():
    rng = np.random.default_rng(11)
    measured, _ = draw_pump(rng).rows(rng, (1450, 1900, 2300, 2600, 2900), 9, 0.005)
    return fit_curve(as_curve(measured), "multistage-centrifugal")


@pytest.fixture(scope="session", params=["helical", "centrifugal"])
def pump(request):
    return request.getfixturevalue(request.param)
