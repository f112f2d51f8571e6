"""draw_case: a season of the third plant, its site file and what is true of it.

Never: imports of the analysis or of another plant.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.bench.farworld.array import Power, array_volts, power_of
from tests.bench.farworld.faults import CAUSES, LOOK_ALIKES, MENDED_BY, READ_BY, SLOW, Fault, draw_fault
from tests.bench.farworld.pump import Load, Machine
from tests.bench.farworld.season import Got, Orders, minutes, overrides
from tests.bench.farworld.sensors import written
from tests.bench.farworld.site import draw_site, site_text
from tests.bench.farworld.sizes import size_of, slight_of
from tests.bench.farworld.sky import draw_sky

START = "2025-03-01"
LARGE = 0.15  # of the flow: what is asked to be told within days


@dataclass
class Truth:
    """One fault; times as ISO 8601, `ended` None = to the end; `size` in the cause's measure, NaN where not worked out;
    `slight`: it left no mark worth asking for; `passed_s`: when its flow lost first came to 15 %, in seconds since the epoch, taken to go
    with its course; None where it never did."""

    cause: str
    part: str | None
    channel: str | None
    began: str
    ended: str | None
    size: float
    slight: bool
    passed_s: float | None = None


@dataclass
class Case:
    """A drawn season. `true`: what an ideal instrument would have read, a value a step, at `times`."""

    name: str
    site_toml: str
    frame: pd.DataFrame
    truths: list[Truth]
    look_alikes: list[str]
    true: dict[str, np.ndarray]
    times: pd.DatetimeIndex


@dataclass
class Season:
    """What the parts of one case share."""

    rng: np.random.Generator
    site: dict
    machine: Machine
    times: pd.DatetimeIndex
    day: np.ndarray
    step_s: float
    spacing_s: int
    faults: dict[str, Fault]
    odd: list[str]

    def amount(self, cause: str, part: str | None = None) -> np.ndarray:
        """How much of a fault there is at each step."""
        fault = self.faults.get(cause)
        return np.zeros(len(self.day)) if fault is None or (part and fault.part != part) else fault.at

    def on(self, cause: str, kind: str | None = None) -> np.ndarray:
        """Whether a step lies within a fault."""
        fault = self.faults.get(cause)
        return np.zeros(len(self.day), bool) if fault is None or (kind and fault.kind != kind) else fault.on


def draw_case(seed: int, fitout: str | None = None, cause: str | None = None, days: int = 150) -> Case:
    """`fitout`: full, middle, lean; `cause`: one of CAUSES, "none", or None for any (one in six has two)."""
    rng = np.random.default_rng([seed, 77])
    fitout = fitout or str(rng.choice(["full", "middle", "lean"]))
    site, machine = draw_site(rng, fitout)
    spacing = int(rng.choice([30, 60, 300, 900], p=[0.07, 0.75, 0.1, 0.08]))
    step_s = min(spacing, 60)
    times = pd.date_range(START, periods=days * 86400 // step_s, freq=f"{step_s}s", tz="UTC")
    day = np.arange(len(times)) * step_s / 86400.0
    known = [c for c in CAUSES if READ_BY.get(c, site["channels"][0]) in site["channels"]]
    causes = [] if cause == "none" else [cause or str(rng.choice(known))]
    if cause is None and rng.random() < 1 / 6:
        causes += [c for c in [str(rng.choice(SLOW))] if c not in causes]
    faults = {c: draw_fault(rng, c, day, days, site) for c in causes}
    alike = [c for c in LOOK_ALIKES if READ_BY.get(c, site["channels"][0]) in site["channels"]]
    odd = [str(rng.choice(alike))] if rng.random() < 0.5 else []
    return _play(seed, Season(rng, site, machine, times, day, step_s, spacing, faults, odd))


def _play(seed: int, s: Season) -> Case:
    site, m, rng = s.site, s.machine, s.rng
    soil = s.faults.get("panel-soiling")
    sky = draw_sky(rng, s.times, site, s.step_s, [(soil.begin, soil.end)] if soil else [])
    power = power_of(s, sky)
    if "under-sheet" in s.odd:
        site["under"] = 1.05
    top = np.full(len(s.day), m.top_rpm)
    if "speed-down" in s.odd:
        top = np.where(s.day > rng.uniform(0.15, 0.8) * s.day[-1], 0.8, 1.0) * top
    load, orders = _asked(s, power)
    got = minutes(site, m, load, top, orders, s.step_s)
    overrides(m, got, s.faults, power.limit_w, top, rng, s.step_s)
    volts = array_volts(s, power, np.minimum(got.power, power.tracked_w) + np.where(power.lit, 4.0, 0.0))
    if "over-voltage" in s.faults:
        _too_high(s, volts)
    true = _true(s, sky, power, got, volts, load)
    truths = [truth for fault in s.faults.values() for truth in _truths(s, fault, power, got, volts, load, top)]
    frame = written(rng, site, s.times, s.day, true, s.faults, s.spacing_s // int(s.step_s))
    _visits(s)
    return Case(f"farworld-{seed}", site_text(site, m), frame, truths, s.odd, true, s.times)


def _too_high(s: Season, volts: np.ndarray) -> None:
    """The rating that was bought lies below what the array gives on cold bright mornings: a design fault, from the first day that is cold enough."""
    fault = s.faults["over-voltage"]
    s.site["v_max"] = round(float(volts.max()) - (2 + 12 * fault.much) * float(volts.max()) / 250)
    fault.on = np.zeros(len(volts), bool)
    over = np.flatnonzero(volts > s.site["v_max"] + 0.5)
    fault.on[over[0] :] = True
    fault.lasting = True


def _asked(s: Season, power: Power) -> tuple[Load, Orders]:
    """What the faults and the site's habits ask of pump and loop."""
    site, m, day, rng = s.site, s.machine, s.day, s.rng
    zero = np.zeros(len(day))
    span = site["setting"] - site["static"] - site["linear"] * m.rated_m3_h - site["square"] * m.rated_m3_h**2
    fallen = site["linear"] * m.rated_m3_h + site["square"] * m.rated_m3_h**2
    extra = s.amount("falling-water-level", "resting") * (span - 3.0)
    rest = site["static"] + 0.7 * np.sin(day / 365 * 2 * np.pi) + extra
    worse = 1 + s.amount("falling-water-level", "drawdown") * (span - 3.0) / fallen
    if "low-level" in s.odd:  # a neighbour pumps for some hours
        start = int(rng.uniform(0.1, 0.85) * day[-1]) + 0.5 - site["lon"] / 360
        rest = rest + (span + 1.0) * np.exp(-(((day - start) / 0.08) ** 4))
    leak = s.amount("riser-leak", "wall") * 0.5
    valve = s.amount("riser-leak", "check-valve")
    site["hole"] = site["static"] * rng.uniform(0.3, 0.95) if leak.any() else site["static"]
    ohm = s.amount("cable-fault", "motor") * 0.2 * site["full_w"] / (3 * site["rated_a"] ** 2)
    load = Load(rest + site["up"], s.amount("worn-pump") * 0.5, leak, s.amount("clogging", "delivery") * 1.2,
                s.amount("clogging", "intake") * 1.2, s.amount("clogging", "pump") * 0.6, zero + 10.0, ohm)  # fmt: skip
    stop = s.on("failed-start") | s.on("stalled-motor")
    if "switched-off" in s.odd:
        start = rng.uniform(0.1, 0.8) * day[-1]
        site["hand"] = (day > start) & (day < start + rng.uniform(0.1, 5))
        stop = stop | site["hand"]
    for cause, often, still in (
        ("controller-trip", rng.uniform(25, 120), rng.uniform(6, 20)),
        ("short-cycling", rng.uniform(8, 16), rng.uniform(3, 5)),
    ):
        if cause in s.faults:
            site[cause] = s.on(cause) & _again(rng, len(day), often * 60 / s.step_s, still * 60 / s.step_s)
            stop = stop | site[cause]
    keep = np.ones(len(day))
    keep[s.on("broken-shaft") | s.on("closed-delivery")] = 0.0
    keep[s.on("reverse-rotation")] = 0.0 if m.helical else 0.4
    quiet = rng.uniform(0.1, 0.6) * day[-1] if "tank-full" in s.odd else -99.0
    seen = "tank_float_up" in site["channels"]
    daily = m.rated_m3_h * (rng.uniform(4.5, 8) if seen else rng.uniform(9, 12))
    used = np.where((day > quiet) & (day < quiet + 20), 0.05, 1.0) * daily * s.step_s / 86400
    gives = s.on("dry-running")
    site["gives_s"] = rng.uniform(0.4, 2.5) * 3600
    heeded = bool(rng.random() < 0.5)
    probe_dry = s.on("sensor-fault", "dry") & heeded
    deaf = gives | s.on("sensor-fault", "wet") | s.on("sensor-fault", "dry")
    stuck = s.on("sensor-fault", "up") & (rng.random() < 0.3)
    return load, Orders(
        power.limit_w,
        rest,
        keep,
        stop,
        deaf,
        probe_dry,
        gives,
        leak * m.rated_m3_h + valve * 0.6,
        used + zero,
        worse,
        stuck,
    )


def _again(rng: np.random.Generator, count: int, often: float, still: float) -> np.ndarray:
    """Stops of about `still` steps, again after about `often`."""
    out = np.zeros(count, bool)
    at = 0.0
    while at < count:
        at += often * rng.uniform(0.6, 1.4)
        out[int(at) : int(at + max(still * rng.uniform(0.7, 1.3), 1))] = True
        at += still
    return out


def _true(s: Season, sky, power: Power, got: Got, volts: np.ndarray, load: Load) -> dict[str, np.ndarray]:
    site, m, rng = s.site, s.machine, s.rng
    watts = np.minimum(got.power, power.tracked_w) + np.where(power.lit, 4.0, 0.0)
    beyond = (site["length"] - site["setting"]) / site["length"]
    through = got.flow / m.rated_m3_h
    loss = m.pipe * got.flow ** (1.85 if m.helical else 2) * beyond + load.block * m.duty_m * through**2
    bar = (site["up"] + loss) * 0.0981
    bar = np.where(got.empty & ~got.run, 0.0, bar)
    shut = s.on("closed-delivery") & got.run
    bar = np.where(shut, np.maximum(got.head - got.level, 0) * 0.0981, bar)
    volume = 1000 * rng.uniform(0.1, 3) + np.cumsum(got.flow) * s.step_s / 3600 * rng.normal(1, 0.012)
    if rng.random() < 0.1:
        volume = volume - 1000 * np.floor(volume / 1000)  # a register of three digits
    wet = got.level < site["probe"]
    lying = s.faults.get("dry-running")
    if lying is not None and lying.visit:  # in half of the cases the probe hangs in wet slime
        wet = wet | lying.on
    turning = got.run & ~s.on("stalled-motor")
    trips = site.get("controller-trip", np.zeros(len(s.day), bool)) & got.wanted
    return {
        "pv_voltage_v": volts, "pv_current_a": watts / np.maximum(volts, 5.0), "input_power_w": watts, "motor_current_a": got.amps,
        "motor_speed_rpm": np.where(turning, got.rpm, 0.0), "volume_m3": volume, "discharge_pressure_bar": bar, "water_level_m": got.level,
        "irradiance_w_m2": sky.beam + sky.diffuse, "module_temp_c": power.heat_c, "ambient_temp_c": sky.air_c, "controller_temp_c": power.box_c,
        "low_level_probe_wet": wet * 1.0, "tank_float_up": got.full * 1.0, "motor_running": got.run * 1.0, "fault_code": np.where(trips, 7.0, 0.0),
        "switched_on": np.where(site.get("hand", False) & (s.day >= 0), 0.0, 1.0), "flow_m3_h": got.flow,
    }  # fmt: skip


def _truths(
    s: Season, fault: Fault, power: Power, got: Got, volts: np.ndarray, load: Load, top: np.ndarray
) -> list[Truth]:
    """The fault with its size; a probe that lay wet while the pump ran dry is told beside, not asked for."""
    on = fault.on
    if fault.cause == "dry-running":
        on = np.zeros(len(on), bool)
        dry = np.flatnonzero(got.run & (got.nearing >= 1.0))
        if not len(dry):
            return []
        on[dry[0] : dry[-1] + 1] = True
        fault.on = on
    if not on.any():
        return []
    first, last = int(np.argmax(on)), len(on) - 1 - int(np.argmax(on[::-1]))
    size = size_of(s, fault, power, got, volts, load, top)
    ended = None if fault.lasting else s.times[last].isoformat()
    truths = [
        Truth(
            fault.cause,
            fault.part,
            fault.channel,
            s.times[first].isoformat(),
            ended,
            size,
            slight_of(s, fault, power, got, size),
            _passed_s(s, fault, on & got.run, size),
        )
    ]
    if fault.cause == "dry-running" and fault.visit and "low_level_probe_wet" in s.site["channels"]:
        truths.append(
            Truth("sensor-fault", None, "low_level_probe_wet", s.times[first].isoformat(), ended, float("nan"), True)
        )
    return truths


def _passed_s(s: Season, fault: Fault, run: np.ndarray, size: float) -> float | None:
    if not run.any():
        return None
    over = np.flatnonzero(fault.on & (fault.at >= LARGE * fault.at[run].mean() / max(size, 1e-9)))
    return float(s.times[over[0]].timestamp()) if len(over) else None


def _visits(s: Season) -> None:
    """Repairs that people wrote down; half of the reversals came with a visit that moved the leads."""
    if "over-voltage" in s.faults:
        return
    dates = []
    for fault in s.faults.values():
        kind = "meter-replaced" if fault.channel == "volume_m3" else MENDED_BY.get(fault.cause)
        if kind and fault.visit and not fault.lasting:
            dates.append((_date(s, fault.end), kind))
        if fault.cause == "reverse-rotation" and s.rng.random() < 0.5:
            dates.append((_date(s, fault.begin - 0.3), "leads-moved"))
    s.site["visits"] = sorted(set(dates))


def _date(s: Season, day: float) -> str:
    return str((s.times[0] + pd.Timedelta(days=day + s.site["lon"] / 360)).date())
