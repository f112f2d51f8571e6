"""The season step by step: starts, stops, tank, well, riser, and what a fault does to each.

Never: imports of the analysis or of another plant.
"""

from dataclasses import dataclass

import numpy as np

from tests.bench.farworld.pump import WATER, Load, Machine, amps_of, speed_for, work


@dataclass
class Orders:
    """What the loop is told at each step, all of one length. `keep`: share of the flow that still moves; `stop`: held from outside;
    `deaf`: a low level is not heeded; `says_dry`: the probe is heard dry; `gives_out`: the well runs out under pumping;
    `drain_m3_h`: out of the riser at rest; `used_m3`: taken from the tank; `worse`: factor of the drawdown."""

    limit_w: np.ndarray
    rest_m: np.ndarray
    keep: np.ndarray
    stop: np.ndarray
    deaf: np.ndarray
    says_dry: np.ndarray
    gives_out: np.ndarray
    drain_m3_h: np.ndarray
    used_m3: np.ndarray
    worse: np.ndarray
    float_stuck: np.ndarray


@dataclass
class Got:
    """What happened. `wanted`: it would run but for `stop`; `lost_m3_h`: into the empty riser; `empty`: column not full; `nearing`: 0 to 1, the
    well giving out; flow, rpm, head, power, amps as measured without error."""

    run: np.ndarray
    full: np.ndarray
    wanted: np.ndarray
    wet: np.ndarray
    draw: np.ndarray
    lost_m3_h: np.ndarray
    empty: np.ndarray
    nearing: np.ndarray
    flow: np.ndarray
    pumped: np.ndarray
    rpm: np.ndarray
    head: np.ndarray
    power: np.ndarray
    amps: np.ndarray
    level: np.ndarray


def minutes(site: dict, m: Machine, load: Load, top: np.ndarray, orders: Orders, step_s: float) -> Got:
    """The season; `load.lift_m` without drawdown. First with the well's steady drawdown, then once more with the drawdown that came."""
    light = np.flatnonzero(orders.limit_w > 40)
    limit, lift, worse = orders.limit_w[light], load.lift_m[light], orders.worse[light]
    more = site["linear"] * m.rated_m3_h * worse * 0.5
    for _ in range(2):
        at = load.at(light, lift + more)
        pumped, flow = work(m, speed_for(m, limit, top[light], at), at)[:2]
        pumped, flow = pumped * orders.keep[light], flow * orders.keep[light]
        more = 0.5 * more + 0.5 * (site["linear"] * pumped + site["square"] * pumped**2) * worse
    got = _loop(site, light, pumped, flow, orders, step_s)
    base = orders.rest_m + got.draw
    got.level = base + got.nearing**2 * np.maximum(site["setting"] - base, 0)
    at = load.at(light, lift - orders.rest_m[light] + got.level[light])
    at.deep_m = np.maximum(site["setting"] - got.level[light], 0)
    rpm = speed_for(m, limit, top[light], at)
    pumped, flow, head, power, amps = work(m, rpm, at)
    for name, x in (("rpm", rpm), ("head", head), ("power", power), ("amps", amps), ("pumped", pumped * orders.keep[light]),
                    ("flow", np.maximum(flow * orders.keep[light] - got.lost_m3_h[light], 0))):  # fmt: skip
        whole = np.zeros(len(top))
        whole[light] = np.where(got.run[light], x, 0.0)
        setattr(got, name, whole)
    return got


def _loop(site: dict, light: np.ndarray, pumped: np.ndarray, flow: np.ndarray, orders: Orders, step_s: float) -> Got:
    count = len(orders.limit_w)
    potential, through = np.zeros(count), np.zeros(count)
    potential[light], through[light] = pumped, flow
    rows = zip(
        potential.tolist(),
        through.tolist(),
        *(np.asarray(v, float).tolist() for v in vars(orders).values()),
        strict=True,
    )
    column = np.pi * (site["bore"] / 2000) ** 2 * site["hole"]
    hour = step_s / 3600
    store, quick, slow, hold, wait, missing, nearing = site["tank"] * 0.4, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    fast, late = step_s / 1500.0, step_s / 40000.0
    stop_w, size, probe = site["least_w"], site["tank"], site["probe"]
    start_w = 1.3 * stop_w
    pause = 0.0
    up = heard = going = False
    wet = True
    out_rows = []
    for q, out, watts, rest, _keep, stop, deaf, says_dry, gives_out, drain, used, bad, stuck in rows:
        up = store >= size * 0.995 or (up and store > size * 0.85)
        wet = rest + quick + slow + nearing * nearing * 30.0 < probe - (0.0 if wet else 0.3)
        was, heard = heard, bool(says_dry) or not (wet or deaf)
        hold = site["hold_s"] if heard and not was else max(hold - step_s, 0.0)
        could = watts > (stop_w if going else start_w) and not (up or stuck) and not heard and hold <= 0
        wait = wait + step_s if could and not stop else 0.0
        pause = site["pause_s"] if going and watts <= stop_w else max(pause - step_s, 0.0)
        going = could and not stop and wait > site["delay_s"] and pause <= 0
        fill = 0.0
        if gives_out and going:
            nearing = min(nearing + step_s / site["gives_s"], 1.0)
        else:
            nearing = max(nearing - step_s / 5400, 0.0)
        if not going or nearing >= 1.0:
            q = out = 0.0
        if not going:
            missing = min(missing + drain * hour, column)
        elif missing > 0:
            fill = min(missing, q * hour) / hour
            missing -= fill * hour
            out = max(out - fill, 0.0)
        aim = (site["linear"] * q + site["square"] * q * q) * bad
        quick += (0.75 * aim - quick) * fast
        slow += (0.25 * aim - slow) * late
        store = min(max(store + out * hour - used, 0.0), size)
        out_rows.append((going, up, could, wet, quick + slow, fill, missing > 0.002, nearing))
    run, full, wanted, wets, draw, fills, empty, near = (np.array(x) for x in zip(*out_rows, strict=True))
    none = np.zeros(0)
    return Got(run, full, wanted, wets, draw, fills, empty, near, none, none, none, none, none, none, none)


def overrides(
    m: Machine, got: Got, faults: dict, limit_w: np.ndarray, top: np.ndarray, rng: np.random.Generator, step_s: float
) -> None:
    """States in which the motor turns light, against a shut valve, backwards, or not at all."""
    if "dry-running" in faults:
        dry = got.run & (got.nearing >= 1.0)
        since = np.arange(len(dry)) - np.maximum.accumulate(np.where(dry, 0, np.arange(len(dry))))
        warm = 1 + 0.3 * (1 - np.exp(-since * step_s / 1800))
        spin(m, got, dry, limit_w, top, (0.2 if m.helical else 0.3) * warm)
        got.flow[dry] = np.where(since[dry] * step_s < 240, got.flow[dry] * rng.uniform(0, 0.4, int(dry.sum())), 0.0)
        got.pumped[dry] = 0.0
        got.head[dry] = 0.0
    for cause, share in (("broken-shaft", 0.09), ("reverse-rotation", 0.25 if m.helical else 1.15)):
        if cause in faults:
            at = got.run & faults[cause].on
            spin(m, got, at, limit_w, top, np.full(len(at), share))
            got.head[at] = 0.0
    if "closed-delivery" in faults:
        at = got.run & faults["closed-delivery"].on
        if m.helical:
            shut = 1.6 * m.duty_m  # a relief valve opens there
            spin(
                m,
                got,
                at,
                limit_w,
                top,
                np.full(len(at), (WATER * m.per_rev * shut * 1.04 + m.friction * 1.1) * m.top_rpm / m.shaft_w),
            )
            got.head[at] = shut
        else:
            spin(m, got, at, limit_w, top, np.full(len(at), 0.42))
            got.head[at] = m.shut_head * (got.rpm[at] / m.top_rpm) ** 2
    if "stalled-motor" in faults:
        tries = faults["stalled-motor"].on & got.wanted & (rng.random(len(top)) < 0.25)
        got.amps[tries] = (
            1.6
            * m.amps_per_nm
            * m.shaft_w
            / (m.top_rpm * np.pi / 30)
            * np.minimum(limit_w[tries] / m.shaft_w + 0.4, 1.0)
        )
        got.power[tries] = np.minimum(0.25 * m.shaft_w, 0.8 * limit_w[tries])
        got.run = got.run | tries


def spin(m: Machine, got: Got, at: np.ndarray, limit_w: np.ndarray, top: np.ndarray, share: np.ndarray) -> None:
    """Speed, power and current where the shaft asks `share` of its rated power at top speed: with speed, or with its cube for a centrifugal pump."""
    power = 1 if m.helical else 3
    wanted = m.shaft_w * share[at]
    spare = np.maximum(limit_w[at] - m.idle_w, 5.0)
    rate = np.clip(np.minimum((spare * m.efficiency * 0.97 / wanted) ** (1 / power), top[at] / m.top_rpm), 0.02, 1.0)
    got.rpm[at] = m.top_rpm * rate
    shaft = wanted * rate**power
    got.amps[at] = amps_of(m, shaft, got.rpm[at])
    got.power[at] = shaft / m.efficiency + m.idle_w + 3 * got.amps[at] ** 2 * m.cable_ohm
