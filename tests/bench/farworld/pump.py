"""Pump, motor, pipe and well of the third plant: speed and flow for an electric power.

Never: imports of the analysis or of another plant.
"""

from dataclasses import dataclass, fields

import numpy as np

WATER = 9.81 * 1000 / 3600  # W per (m3/h and m)


@dataclass
class Machine:
    """True figures at the top speed. `per_rev`: m3/h per 1/min; `slip`: m3/h per m of head to the 1.2; `friction`: W per 1/min;
    `shut_head`, `fall`: of a centrifugal pump's parabola; `pipe`: friction in m per (m3/h) to 1.85 or 2; `duty_m`: total head at rated flow."""

    kind: str
    top_rpm: float
    per_rev: float
    slip: float
    friction: float
    shut_head: float
    fall: float
    shaft_w: float
    rated_m3_h: float
    duty_m: float
    efficiency: float
    idle_w: float
    amps_per_nm: float
    idle_a: float
    pipe: float
    cable_ohm: float

    @property
    def helical(self) -> bool:
        """A helical rotor; else a multistage centrifugal pump."""
        return self.kind == "helical-rotor"


@dataclass
class Load:
    """What the plant asks at each step. `lift_m`: static lift with drawdown; `worn`, `leak`: share of the rated flow lost at duty head;
    `block`, `choke`: loss in the delivery, in the strainer, as a share of duty head at rated flow; `thin`: narrowed passages, a share;
    `deep_m`: water above the intake; `ohm`: extra resistance of each wire to the motor."""

    lift_m: np.ndarray
    worn: np.ndarray
    leak: np.ndarray
    block: np.ndarray
    choke: np.ndarray
    thin: np.ndarray
    deep_m: np.ndarray
    ohm: np.ndarray

    def at(self, where: np.ndarray, lift_m: np.ndarray) -> "Load":
        """The same at some steps, with another lift."""
        rest = {f.name: getattr(self, f.name)[where] for f in fields(self) if f.name != "lift_m"}
        return Load(lift_m, **rest)


def sound(lift_m: np.ndarray) -> Load:
    """A plant in order."""
    zero = np.zeros_like(lift_m)
    return Load(lift_m, zero, zero, zero, zero, zero, zero + 10.0, zero)


def colebrook(flow_m3_h: float, bore_mm: float, length_m: float, rough_mm: float) -> float:
    """Head lost, m: Darcy and Weisbach with Colebrook (1939), by repeated substitution."""
    bore = bore_mm / 1000
    speed = flow_m3_h / 3600 / (np.pi * bore**2 / 4)
    reynolds = speed * bore / 1.0e-6
    root = 7.0
    for _ in range(30):
        root = -2 * np.log10(rough_mm / 1000 / bore / 3.7 + 2.51 * root / reynolds)
    return length_m / bore / root**2 * speed**2 / 19.62


def work(m: Machine, rpm: np.ndarray, load: Load) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Pumped flow m3/h, delivered flow, head m, electric W, motor A at a speed."""
    rate = np.maximum(rpm, 1.0) / m.top_rpm
    square = (load.block + load.choke) * m.duty_m / m.rated_m3_h**2
    if m.helical:
        # A strainer starves the pump where its loss takes what air and submergence give.
        most = m.rated_m3_h * np.sqrt((load.deep_m + 9.0) / np.maximum(load.choke * m.duty_m, 1e-6))
        geometric = m.per_rev * rpm
        flow = np.minimum(geometric, most)
        for _ in range(4):
            head = load.lift_m + m.pipe * flow**1.85 + square * flow**2
            # Gap flow of an elastic stator grows faster than head (Moineau 1930, linear; the power is common practice, no source).
            back = m.slip * head**1.2 + load.worn * m.rated_m3_h * (head / m.duty_m) ** 1.2
            flow = 0.5 * flow + 0.5 * np.minimum(np.maximum(geometric - back, 0.0), most)
        flow = np.minimum(np.maximum(geometric - back, 0.0), most) * (1 - 0.5 * load.thin)
        shaft = WATER * geometric * head * 1.04 + m.friction * rpm * (0.75 + 0.3 / (1 + 6 * rate) + 0.25 * rate) * (
            1 + load.thin
        )
    else:
        # Affinity laws; shut head and parabola, internal leak with the root of head (Gülich, Centrifugal Pumps, from memory).
        spare = np.maximum(m.shut_head * rate**2 - load.lift_m, 0.0)
        inner = np.sqrt(spare / (m.fall * (1 + 4 * load.thin) + m.pipe + square))
        back = load.worn * m.rated_m3_h * np.sqrt(np.maximum(load.lift_m, 0) / m.duty_m)
        flow = np.maximum(inner - back, 0.0)
        head = np.minimum(load.lift_m, m.shut_head * rate**2) + (m.pipe + square) * flow**2
        part = inner / (m.rated_m3_h * rate)
        shaft = m.shaft_w * rate**3 * (0.42 + 0.7 * part - 0.12 * part**2)
    amps = amps_of(m, shaft, rpm)
    power = shaft / m.efficiency + m.idle_w + 3 * amps**2 * (m.cable_ohm + load.ohm)
    gone = load.leak * m.rated_m3_h * np.sqrt(np.maximum(head, 0) / m.duty_m)
    return flow, np.maximum(flow - gone, 0.0), head, power, amps


def amps_of(m: Machine, shaft_w: np.ndarray, rpm: np.ndarray) -> np.ndarray:
    """Motor current: what magnetises and what turns, at right angles."""
    return np.hypot(m.idle_a, shaft_w / (np.maximum(rpm, 30.0) * np.pi / 30) * m.amps_per_nm)


def speed_for(m: Machine, power_w: np.ndarray, limit_rpm: np.ndarray, load: Load) -> np.ndarray:
    """The speed at which the plant takes that power, by bisection, at most `limit_rpm`."""
    low, high = np.full_like(power_w, 1.0), np.array(limit_rpm, float)
    free = work(m, high, load)[3] <= power_w
    for _ in range(14):
        mid = (low + high) / 2
        over = work(m, mid, load)[3] > power_w
        high, low = np.where(over, mid, high), np.where(over, low, mid)
    return np.where(free, limit_rpm, low)
