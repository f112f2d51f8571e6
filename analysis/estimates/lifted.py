"""What extra head does to the pump at its three working points: flow, speed and power settle anew, however much it is.

Flow: plant.py, bench.py -> HERE -> causes (effect), effects.py.
A slope at the healthy point says too much or too little as soon as the head is a fifth of the lift: an impeller's flow falls the
faster the nearer it comes to shut-off, and friction or drawdown fall with the flow that they took. Never: rows.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.estimates.bench import bench_of
from analysis.physics.invert import settled
from analysis.plant import PLANTS_KEPT, Plant
from analysis.rows import Floats

STEPS = np.array([0.0, 0.04, 0.1, 0.2, 0.35, 0.55, 0.75, 1.0])
"""Of the most extra head that is asked: where it is solved; between, straight lines."""
ROUNDS, CLOSE = 25, 1e-6  # secants; of full flow
LEAST_FLOW = 0.05  # of the healthy flow: less is no water, and not of the day's figures
LAWS: dict[str, Callable[[Plant, Floats], Floats]] = {
    "resting": lambda _plant, flow: np.ones_like(flow),
    "drawdown": lambda plant, flow: _drawn(plant, flow),
    "obstruction": lambda plant, flow: (flow / bench_of(plant).flow_m3_h[-1]) ** 2,
}
"""How extra head goes with the flow, 1 at that of high power: a fallen level; a well that yields less, as its own step test; friction."""


def _drawn(plant: Plant, flow_m3_h: Floats) -> Floats:
    most = bench_of(plant).flow_m3_h[-1]
    whole = float(plant.system.drawdown_m(most))
    return plant.system.drawdown_m(flow_m3_h) / whole if whole > 0 else flow_m3_h / most


@dataclass(frozen=True)
class Lifted:
    """By step and band, (k, 3): logs of flow at the same power, of flow and of power at the speed then found; extra head in m (k,)."""

    extra_m: Floats
    q: Floats
    n: Floats
    t: Floats

    def at(self, extra_m: float) -> tuple[Floats, Floats, Floats]:
        """The three, by band, for so much at the flow of high power."""
        return tuple(
            np.array([np.interp(extra_m, self.extra_m, part[:, band]) for band in range(part.shape[1])])
            for part in (self.q, self.n, self.t)
        )  # type: ignore[return-value]


@lru_cache(maxsize=4 * PLANTS_KEPT)
def lifted(plant: Plant, law: str, most_m: float) -> Lifted:
    """Solved at `STEPS` of `most_m`, the extra head at the healthy flow of high power.

    Against what the engine then expects: the head of the same power by the site file, but what is measured of it (level, wellhead
    pressure) is known as it then is.
    """
    bench, pump, system = bench_of(plant), plant.pump, plant.system
    extra = (most_m * STEPS)[:, None]
    power = np.broadcast_to(bench.power_w, (len(STEPS), len(bench.power_w))).copy()
    head_of = LAWS[law]

    def asked(flow: Floats) -> Floats:
        return np.asarray(system.head_m(flow) + extra * head_of(plant, flow), float)

    def answer(flow: Floats) -> Floats:
        head = asked(flow)
        return pump.core.flow(pump.relative_speed_of_power(power, head), head)

    start = np.broadcast_to(bench.flow_m3_h, power.shape).copy()
    flow = settled(answer, start, CLOSE * plant.full_flow_m3_h, ROUNDS)
    healthy = flow[:1]
    flow = np.maximum(flow, LEAST_FLOW * healthy)
    head = asked(flow)
    speed = pump.relative_speed_of_power(power, head)
    known = np.asarray(system.head_m(np.broadcast_to(healthy, flow.shape)), float)
    if "water_level_m" in plant.has:
        known = known + system.drawdown_m(flow) - system.drawdown_m(healthy)
    if "discharge_pressure_bar" in plant.has:
        known = known + system.pipe_loss_m(flow) - system.pipe_loss_m(healthy)
    with np.errstate(divide="ignore", invalid="ignore"):
        q = np.log(flow / healthy)
        n = np.log(flow / pump.core.flow(speed, known))
        t = np.log(pump.core.power_at_head(speed, head) / pump.core.power_at_head(speed, known))
    return Lifted(extra[:, 0], _told(q), _told(n), _told(t))


def _told(logs: Floats) -> Floats:
    """From 0 on; where a step gives none, that of the one before."""
    logs = logs - np.where(np.isfinite(logs[:1]), logs[:1], 0.0)
    for step in range(len(logs)):
        before = logs[step - 1] if step else np.zeros(logs.shape[1])
        logs[step] = np.where(np.isfinite(logs[step]), logs[step], before)
    return logs
