"""Pump, motor, pipe and well of the third plant: speed and flow for an electric power.

Never: imports of the analysis or of another plant.
"""

from dataclasses import dataclass

import numpy as np

WATER = 9.81 * 1000 / 3600  # W per (m3/h and m)


@dataclass
class Machine:
    """True figures. `per_rev`: m3/h per 1/min; `slip`: m3/h per m of head; friction in W per 1/min."""

    kind: str
    top_rpm: float
    per_rev: float
    slip: float
    friction: float
    shut_head: float
    fall: float
    shaft_w: float
    rated_m3_h: float
    efficiency: float
    idle_w: float
    amps_per_nm: float
    idle_a: float
    pipe: float
    cable_ohm: float


@dataclass
class Load:
    """What the plant asks at each step. `worn`, `leak`, `block`: shares; `lift_m`: static; `ohm`: extra resistance of the motor's cable."""

    lift_m: np.ndarray
    worn: np.ndarray
    leak: np.ndarray
    block: np.ndarray
    thin: np.ndarray
    ohm: np.ndarray


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
    pipe = m.pipe * (1 + 40 * load.block)
    rate = np.maximum(rpm, 1.0) / m.top_rpm
    if m.kind == "helical-rotor":
        geometric = m.per_rev * rpm * (1 - load.thin)
        flow = geometric
        for _ in range(3):
            head = load.lift_m + pipe * flow**1.85
            # Gap flow of an elastic stator grows faster than head (Moineau 1930, linear; the power is common practice, no source).
            back = m.slip * head**1.2 * (1 + load.worn * m.per_rev * m.top_rpm / (m.slip * 60**1.2)) 
            flow = np.maximum(geometric - back, 0.0)
        shaft = WATER * m.per_rev * rpm * head * 1.04 + m.friction * rpm * (1 + 0.3 / (1 + 6 * rate))
    else:
        # Affinity laws; shut head and parabola, internal leak with the root of head (Gülich, Centrifugal Pumps, from memory).
        spare = np.maximum(m.shut_head * rate**2 - load.lift_m, 0.0)
        inner = np.sqrt(spare / (m.fall + pipe + m.fall * 4 * load.thin))
        flow = np.maximum(inner - load.worn * m.rated_m3_h * np.sqrt(np.maximum(load.lift_m, 0) / m.shut_head) * 1.2, 0.0)
        head = load.lift_m + pipe * flow**2
        part = inner / (m.rated_m3_h * rate)
        shaft = m.shaft_w * rate**3 * (0.42 + 0.7 * part - 0.12 * part**2)
    torque = shaft / (np.maximum(rpm, 30.0) * np.pi / 30)
    amps = np.hypot(m.idle_a, torque * m.amps_per_nm)
    power = shaft / m.efficiency + m.idle_w + 1.5 * amps**2 * (m.cable_ohm + load.ohm)
    return flow, np.maximum(flow - load.leak * m.rated_m3_h * np.sqrt(head / 60), 0.0), head, power, amps


def speed_for(m: Machine, power_w: np.ndarray, limit_rpm: np.ndarray, load: Load) -> np.ndarray:
    """The speed at which the plant takes that power, by bisection, at most `limit_rpm`."""
    low, high = np.full_like(power_w, 1.0), limit_rpm.copy()
    for _ in range(14):
        mid = (low + high) / 2
        over = work(m, mid, load)[3] > power_w
        high, low = np.where(over, mid, high), np.where(over, low, mid)
    return low
