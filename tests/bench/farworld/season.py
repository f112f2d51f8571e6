"""The season minute by minute: starts, stops, tank, well, riser, and what a fault does to each.

Never: imports of the analysis or of another plant.
"""

import numpy as np

from tests.bench.farworld.pump import Load, speed_for, work


def part_of(load: Load, at: np.ndarray, more: np.ndarray) -> Load:
    """The load at some steps, the well drawn down by `more`."""
    return Load(load.lift_m[at] + more, *(getattr(load, k)[at] for k in ("worn", "leak", "block", "thin", "ohm")))


def minutes(rng, site, m, load, limit, top, light, worse, day, step_s, by, odd) -> dict[str, np.ndarray]:
    """Running, flow, speed, current, power, drawdown, float and asked, each a step; two passes over the well."""
    worse = np.broadcast_to(worse, day.shape)
    more = site["linear"] * m.rated_m3_h * worse[light] * 0.5
    for _ in range(2):
        rpm = speed_for(m, limit[light], top[light], part_of(load, light, more))
        pumped, flow, head, power, amps = work(m, rpm, part_of(load, light, more))
        more = (site["linear"] * pumped + site["square"] * pumped**2) * worse[light]
    none = np.zeros(len(day), bool)
    on = {c: f["on"] for c, f in by.items()}
    off = none.copy()
    if "switched-off" in odd:
        start = rng.uniform(20, 120)
        off = (day > start) & (day < start + rng.uniform(0.2, 5))
    for c in ("stalled-motor", "failed-start"):
        off = off | on.get(c, none)
    if "controller-trip" in on:
        off = off | (on["controller-trip"] & (np.arange(len(day)) % 90 < 12))
    if "short-cycling" in on:
        off = off | (on["short-cycling"] & (np.arange(len(day)) % 9 < 3))
    low_day = rng.uniform(20, 120) if "low-level" in odd else -9.0
    low = (day > low_day) & (day < low_day + 0.5)
    use = m.rated_m3_h * 5.0 * rng.uniform(0.9, 1.5)
    full_weeks = rng.uniform(10, 90) if "tank-full" in odd else -99.0
    daily_use = np.where((day > full_weeks) & (day < full_weeks + 20), 0.05, 1.0) * use * step_s / 86400
    run, deliver, full, draw, spun = _loop(site, m, light, pumped, flow, limit, off, low, worse, daily_use, step_s, by, len(day))
    got = {k: np.zeros(len(day)) for k in ("rpm", "power", "amps", "head")}
    now = run[light]
    for k, v in (("rpm", rpm), ("power", power), ("amps", amps), ("head", head)):
        got[k][light] = np.where(now, v, 0.0)
    got |= {"run": run, "flow": deliver, "full": full, "drawdown": draw, "asked": off, "low": low, "dry": none, "pumped": spun}
    _overrides(m, got, on, run, limit)
    return got


def _loop(site, m, light, pumped, flow, limit, off, low, worse, use, step_s, by, count):
    run, full = np.zeros(count, bool), np.zeros(count, bool)
    deliver, draw, spun = np.zeros(count), np.zeros(count), np.zeros(count)
    potential, through = np.zeros(count), np.zeros(count)
    potential[light], through[light] = pumped, flow
    lists = [a.tolist() for a in (potential, through, limit, off, low, use, worse)]
    drains = by.get("riser-leak", {}).get("at", np.zeros(count)).tolist()
    bore = np.pi * (site["bore"] / 2000) ** 2
    store, quick, slow, hold, wait, missing, up = site["tank"] * 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, False
    fast, late = step_s / 1500.0, step_s / 40000.0
    need = 0.12 * site["full_w"]
    for k, (q, out, watts, stop, dry, used, bad) in enumerate(zip(*lists, strict=True)):
        up = store >= site["tank"] * 0.995 or (up and store > site["tank"] * 0.9)
        hold = site["hold_s"] if dry and hold <= 0 and q > 0.6 * m.rated_m3_h else hold - step_s
        going = watts > need and out >= 0 and not stop and not up and hold <= 0
        wait = wait + step_s if going else 0.0
        going = going and wait > site["delay_s"]
        if not going:
            q = out = 0.0
            missing = min(missing + drains[k] * step_s / 3600 * 0.05, bore * site["static"])
        elif missing > 0:
            fill = min(missing, q * step_s / 3600)
            missing -= fill
            out = max(out - fill * 3600 / step_s, 0.0)
        aim = (site["linear"] * q + site["square"] * q * q) * bad
        quick += (0.75 * aim - quick) * fast
        slow += (0.25 * aim - slow) * late
        store = min(max(store + out * step_s / 3600 - used, 0.0), site["tank"])
        run[k], full[k], deliver[k], draw[k], spun[k] = going, up, out, quick + slow, q
    return run, deliver, full, draw, spun


def _overrides(m, got, on, run, limit) -> None:
    """States with no water: the motor turns light, against a shut valve, or backwards."""
    for cause, torque, keep in (("dry-running", 0.22, 0.0), ("broken-shaft", 0.08, 0.0), ("reverse-rotation", 0.25, 0.0), ("closed-delivery", 1.5, 0.0)):
        if cause not in on:
            continue
        at = on[cause] & run
        central = m.kind[0] == "m"
        if cause == "reverse-rotation" and central:
            torque, keep = 1.15, 0.4
        if cause == "closed-delivery" and central:
            torque = 0.5
        wanted = m.shaft_w * torque
        rate = np.clip((limit[at] * m.efficiency / wanted) ** (1 / 3 if central else 1), 0.05, 1.0)
        got["rpm"][at] = m.top_rpm * rate
        got["power"][at] = wanted * rate ** (3 if central else 1) / m.efficiency + m.idle_w
        full_nm = m.shaft_w / (m.top_rpm * np.pi / 30)
        got["amps"][at] = np.hypot(m.idle_a, full_nm * torque * rate ** (2 if central else 0) * m.amps_per_nm)
        got["flow"][at] *= keep
        got["pumped"][at] *= keep
        if cause == "closed-delivery":
            got["head"][at] = m.shut_head * (rate**2 if central else 1.0)
        if cause == "dry-running":
            got["dry"] = on[cause]
    if "stalled-motor" in on:
        tries = on["stalled-motor"] & (limit > 100) & (np.arange(len(run)) % 5 == 0) & ~got["full"]
        got["amps"][tries] = 1.3 * m.amps_per_nm * m.shaft_w / (m.top_rpm * np.pi / 30)
        got["power"][tries] = 0.3 * limit[tries]
        got["run"] = run | tries
