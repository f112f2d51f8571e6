"""draw_case: a season of the third plant, its site file and what is true of it.

Never: imports of the analysis or of another plant.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.bench.farworld.pump import Load, speed_for, work
from tests.bench.farworld.season import minutes
from tests.bench.farworld.site import draw_site
from tests.bench.farworld.sky import Module, draw_sky, wander

PARTS = {
    "clogging": ("intake", "pump", "delivery"), "riser-leak": ("wall", "check-valve"),
    "falling-water-level": ("resting", "drawdown"), "cable-fault": ("array", "motor"),
}  # fmt: skip
SLOW = ("clogging", "worn-pump", "riser-leak", "falling-water-level", "panel-soiling", "cable-fault", "controller-derating")
CAUSES = (*SLOW, "dry-running", "closed-delivery", "broken-shaft", "shading", "string-out", "reverse-rotation", "failed-start",
          "stalled-motor", "over-voltage", "controller-trip", "short-cycling", "sensor-fault", "silent")  # fmt: skip
LOOK_ALIKES = ("tank-full", "switched-off", "speed-down", "low-level", "horizon", "light-dust")


@dataclass
class Truth:
    """One fault; times as ISO 8601, `ended` None = to the end; `size` in the cause's measure, NaN where not worked out."""

    cause: str
    part: str | None
    channel: str | None
    began: str
    ended: str | None
    size: float
    slight: bool


@dataclass
class Case:
    """A drawn season."""

    name: str
    site_toml: str
    frame: pd.DataFrame
    truths: list[Truth]
    look_alikes: list[str]


def draw_case(seed: int, fitout: str | None = None, cause: str | None = None, days: int = 150, step_s: int = 60) -> Case:
    """`fitout`: full, middle, lean; `cause`: one of CAUSES, "none", or None for any (one in six has two)."""
    rng = np.random.default_rng([seed, 77])
    fitout = fitout or str(rng.choice(["full", "middle", "lean"]))
    site, machine, text = draw_site(rng, fitout)
    times = pd.date_range("2025-03-01", periods=days * 86400 // step_s, freq=f"{step_s}s", tz="UTC")
    day = np.arange(len(times)) * step_s / 86400.0
    sky = draw_sky(rng, times, site, step_s)
    causes = [] if cause == "none" else [cause or str(rng.choice(CAUSES))]
    if cause is None and rng.random() < 1 / 6:
        causes += [c for c in [str(rng.choice(SLOW))] if c not in causes]
    odd = [str(rng.choice(LOOK_ALIKES))] if rng.random() < 0.5 else []
    faults = [_fault(rng, c, day, days, site, fitout) for c in causes]
    return _play(rng, f"farworld-{seed}", text, site, machine, sky, times, day, step_s, faults, odd)


def _fault(rng, cause, day, days, site, fitout) -> dict:
    """When, how much, and its course: 0 to 1 over the steps."""
    begin = 0.0 if cause in SLOW and rng.random() < 0.08 else rng.uniform(0.2, 0.75) * days
    lasting = bool(rng.random() < 0.5)
    brief = {"dry-running": 4, "closed-delivery": 6, "silent": 6, "stalled-motor": 8, "failed-start": 8}.get(cause, 40)
    end = days if lasting else min(begin + rng.uniform(0.3, 1) * brief, days)
    inside = (day >= begin) & (day < end)
    grown = np.clip((day - begin) / max(min(end, days) - begin, 1), 0, 1)
    shape = str(rng.choice(["linear", "step", "faster", "comes-goes"])) if cause in SLOW else "step"
    course = {"linear": grown, "step": np.ones_like(day), "faster": grown**2, "comes-goes": ((day % 4) < 2.5) * 1.0}[shape]
    part = str(rng.choice(PARTS[cause])) if cause in PARTS else None
    readable = [c for c in site["channels"] if c not in ("fault_code", "motor_running", "tank_float_up", "switched_on")]
    channel = str(rng.choice(readable)) if cause == "sensor-fault" else None
    return {"cause": cause, "part": part, "channel": channel, "begin": begin, "end": end, "lasting": end >= days,
            "much": rng.uniform(0.15, 1.0), "at": inside * course, "on": inside}  # fmt: skip


def _play(rng, name, text, site, machine, sky, times, day, step_s, faults, odd) -> Case:
    by = {f["cause"]: f for f in faults}
    zero = np.zeros(len(times))

    def amount(cause: str, part: str | None = None) -> np.ndarray:
        f = by.get(cause)
        return zero if f is None or (part and f["part"] != part) else f["at"] * f["much"]

    module = Module(site["sheet"], round(site["sheet"]["v_oc"] / 0.62))
    full = sky.beam + sky.diffuse
    dusty = amount("panel-soiling") * 0.3
    if "light-dust" in odd:
        since = day - np.concatenate([[0], sky.rain_days])[np.searchsorted(sky.rain_days, day, side="right")]
        dusty = dusty + np.clip(since * 0.001, 0, 0.025)
    shade = (amount("shading") * 0.8 * ((sky.azimuth_deg > 60) & (sky.azimuth_deg < 112))) + (
        0.9 * (sky.height_deg < 9) if "horizon" in odd else 0)  # fmt: skip
    sun = (full - sky.beam * np.clip(shade, 0, 0.95)) * (1 - dusty)
    heat = sky.air_c + full / (25.0 + 6.84 * sky.wind)  # Faiman (2008)
    lost_strings = np.minimum(np.ceil(amount("string-out") * max(site["strings"] - 1, 1)), max(site["strings"] - 1, 1))
    alive = 1 - lost_strings / site["strings"] if site["strings"] > 1 else 1 - by_one(amount("string-out"), site["series"])
    count = site["series"] * site["strings"] * site["gain"]
    best = module.power_w(sun, heat) * count * alive
    healthy = module.power_w(full, heat) * count
    joint = amount("cable-fault", "array") * 0.25 * np.sqrt(np.clip(full / 1000, 0, 1.2))
    tracked = best * (0.985 + 0.004 * wander(rng, len(times), 10)) * (1 - joint)
    box = sky.air_c + 12 + 18 * np.clip(full / 1000, 0, 1)
    held = np.clip((box - 42) / 15, 0, 1) * amount("controller-derating") * 0.7
    limit = tracked * (1 - held)
    season = 0.7 * np.sin(day / 365 * 2 * np.pi)
    rest = site["static"] + season + amount("falling-water-level", "resting") * 14
    ohm = machine.cable_ohm * amount("cable-fault", "motor") * 6
    thin = amount("clogging", "pump") * 0.5 + amount("clogging", "intake") * 0.5
    top = np.full(len(times), machine.top_rpm)
    if "speed-down" in odd:
        top = np.where(day > rng.uniform(20, 120), 0.8, 1.0) * top
    load = Load(rest + site["up"], amount("worn-pump") * 0.5, amount("riser-leak", "wall") * 0.5, amount("clogging", "delivery") * 0.5, thin, ohm)
    worse = 1 + amount("falling-water-level", "drawdown") * 3
    light = np.flatnonzero(limit > 60)
    got = minutes(rng, site, machine, load, limit, top, light, worse, day, step_s, by, odd)
    sound = Load(site["static"] + season + site["up"] + got["drawdown"] / worse, zero, zero, zero, zero, zero)
    size = {f["cause"]: _size(f, site, machine, sound, got, limit, healthy, top, step_s, worse, joint, held, dusty, best) for f in faults}
    from tests.bench.farworld.sensors import read

    frame = read(rng, site, machine, module, sky, times, day, step_s, sun, heat, best, box, rest, got, by, odd)
    truths = [Truth(f["cause"], f["part"], f["channel"], str(times[int(np.argmax(f["on"]))]),
                    None if f["lasting"] else str(times[len(f["on"]) - 1 - int(np.argmax(f["on"][::-1]))]), size[f["cause"]], False)
              for f in faults if f["on"].any()]  # fmt: skip
    return Case(name, text, frame, truths, odd)


def by_one(out: np.ndarray, series: int) -> np.ndarray:
    """One module of a single string bypassed."""
    return (out > 0) / series


def _size(f, site, machine, sound, got, limit, healthy, top, step_s, worse, joint, held, dusty, best) -> float:
    on, cause = f["on"] & got["run"], f["cause"]
    if cause in ("dry-running", "closed-delivery", "broken-shaft", "stalled-motor"):
        return float(f["on"][got["asked"]].sum() * step_s / 3600) if cause == "stalled-motor" else float(on.sum() * step_s / 3600)
    if cause in ("clogging", "worn-pump", "riser-leak", "reverse-rotation") and on.any():
        at = np.flatnonzero(on)[::7]
        part = Load(*[getattr(sound, k)[at] for k in ("lift_m", "worn", "leak", "block", "thin", "ohm")])
        sure = work(machine, speed_for(machine, limit[at], top[at], part), part)[0].sum()
        return float(1 - got["flow"][at].sum() / max(sure, 1e-9))
    if cause == "falling-water-level" and on.any():
        return float(np.mean(14 * f["much"] * f["at"][on])) if f["part"] == "resting" else float(np.mean((got["drawdown"] * (1 - 1 / worse))[on]))
    if cause in ("panel-soiling", "string-out"):
        lit = f["on"] & (healthy > 100)
        return float(1 - best[lit].sum() / max(healthy[lit].sum(), 1e-9)) if lit.any() else float("nan")
    if cause == "shading" and f["on"].any():
        return float(1 - best[f["on"]].sum() / max(healthy[f["on"]].sum(), 1e-9))
    if cause == "controller-derating" and on.any():
        return float((held * best)[on].sum() / best[on].sum())
    return float("nan")
