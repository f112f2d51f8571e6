"""Coarse, rounded, uneven datasheet tables of known pumps: flow(power, head) between the rows."""

import numpy as np
import pytest

from analysis.physics import Reason, fit_curve


class Helical:
    """Slip by a law of its own (laminar, turbulent or elastic); torque with friction and copper loss."""

    def __init__(self, rng, slip_power):
        self.displacement, self.top_head = rng.uniform(0.3, 8), rng.uniform(40, 250)
        self.slip, self.slip_power = rng.uniform(0.05, 0.2), slip_power
        self.efficiency, self.friction = rng.uniform(0.5, 0.8), rng.uniform(0.05, 0.25)

    def flow(self, speed, head):
        return max(self.displacement * (speed - self.slip * (head / self.top_head) ** self.slip_power), 0.0)

    def power(self, speed, head):
        torque = self.friction + head / self.top_head
        full = self.displacement * self.top_head * 2.72 / self.efficiency
        return full * (speed * torque * (1 + 0.1 * speed) + 0.015 + 0.02 * speed + 0.05 * torque**2)

    heads = (0.3, 1.0)


class Centrifugal:
    """One of the bench's pumps, asked at a head."""

    heads = (0.35, 0.8)

    def __init__(self, pump):
        self.pump, self.top_head = pump, pump.head

    def flow(self, speed, head):
        return self.pump.flow(speed * 2900, head)

    def power(self, speed, head):
        return float(self.pump.at(speed * 2900, self.flow(speed, head))[1])


def make(kind, bench, seed):
    rng = np.random.default_rng(seed)
    return Centrifugal(bench[0](rng)) if kind == "multistage-centrifugal" else Helical(rng, (1.0, 0.5, 1.6)[seed % 3])


def sheet(pump, heads, speeds, with_speed):
    """The table as a datasheet prints it: whole watts and metres, two digits of flow."""
    rows = []
    for head in np.round(pump.top_head * np.linspace(*pump.heads, heads)):
        for speed in speeds:
            if pump.flow(speed, head) > 0:
                rows.append((head, round(pump.power(speed, head)), round(pump.flow(speed, head), 2), 3000 * speed))
    head, power, flow, speed = np.array(rows).T
    return {"head_m": head, "power_w": power, "flow_m3_h": flow} | ({"speed_rpm": speed} if with_speed else {})


def between(pump, rows, rng, count=60):
    """Power, head and flow at random points inside the table."""
    points = []
    while len(points) < count:
        speed, head = rng.uniform(0.4, 1.0), rng.uniform(rows["head_m"].min(), rows["head_m"].max())
        flow = pump.flow(speed, head)
        if flow > 0.1 * rows["flow_m3_h"].max():
            points.append((pump.power(speed, head), head, flow))
    return np.array(points).T


TABLES = [  # kind, heads, speeds, with speeds, median and 95th percentile of the error as a share of the largest flow
    ("helical-rotor", 2, (0.3, 1.0), True, 0.02, 0.03),
    ("helical-rotor", 2, (0.3, 1.0), False, 0.02, 0.035),
    ("helical-rotor", 3, (0.3, 0.5, 1.0), True, 0.01, 0.015),
    ("helical-rotor", 5, (0.3, 0.4, 0.6, 0.8, 1.0), False, 0.006, 0.012),
    ("multistage-centrifugal", 3, (0.6, 0.75, 1.0), True, 0.012, 0.05),
    ("multistage-centrifugal", 3, (0.6, 0.75, 1.0), False, 0.012, 0.06),
    ("multistage-centrifugal", 5, (0.5, 0.6, 0.7, 0.8, 0.9, 1.0), True, 0.006, 0.02),
    ("multistage-centrifugal", 5, (0.5, 0.6, 0.7, 0.8, 0.9, 1.0), False, 0.006, 0.02),
]


@pytest.mark.parametrize(("kind", "heads", "speeds", "with_speed", "median", "tail"), TABLES)
def test_flow_between_the_rows(bench, kind, heads, speeds, with_speed, median, tail):
    """Errors and their stated uncertainty over nine pumps; tails are near lift-off, where flow rises steepest."""
    errors, covered = [], []
    for seed in range(9):
        pump = make(kind, bench, seed)
        rows = sheet(pump, heads, speeds, with_speed)
        model = fit_curve(rows, kind)
        power, head, flow = between(pump, rows, np.random.default_rng(seed + 50))
        answer = model.answer("flow_of_power", power, head)
        assert (answer.reason == Reason.OK).mean() > 0.97
        error = (answer.value - flow)[answer.reason == Reason.OK]
        errors.append(np.abs(error) / flow.max())
        covered.append(np.abs(error) < 2 * answer.fit_std[answer.reason == Reason.OK])
    every = np.concatenate(errors)
    assert np.median(every) < median
    assert np.quantile(every, 0.95) < tail
    assert np.concatenate(covered).mean() > 0.85


@pytest.mark.parametrize("kind", ["helical-rotor", "multistage-centrifugal"])
def test_three_rows_are_enough(kind):
    rows = {"head_m": [30, 30, 50], "power_w": [420, 900, 800], "flow_m3_h": [1.9, 4.4, 2.4]}
    model = fit_curve(rows, kind)
    assert model.flow_of_power(rows["power_w"], rows["head_m"]) == pytest.approx(rows["flow_m3_h"], rel=0.05)


@pytest.mark.parametrize(("kind", "rpm"), [("helical-rotor", 2900), ("multistage-centrifugal", 2900)])
def test_one_speed_is_enough(kind, rpm):
    rows = {"head_m": [30, 40, 50], "power_w": [700, 780, 840], "flow_m3_h": [4.6, 3.9, 3.0], "speed_rpm": [rpm] * 3}
    model = fit_curve(rows, kind)
    assert model.flow(rpm, rows["head_m"]) == pytest.approx(rows["flow_m3_h"], rel=0.06)
    slower = model.flow(0.93 * rpm, 40)
    assert 0 < slower < 3.9


def test_speedless_table_gives_no_speeds():
    rows = {"head_m": [30, 30, 50], "power_w": [420, 900, 800], "flow_m3_h": [1.9, 4.4, 2.4]}
    model = fit_curve(rows, "helical-rotor")
    answer = model.answer("flow", 2000, 40)
    assert answer.reason == Reason.NO_SPEED
    assert np.isnan(answer.value)
    assert np.isnan(model.speed_of_power(600, 40))
    assert np.isnan(model.lookup().flow(2000, 40)).all()
