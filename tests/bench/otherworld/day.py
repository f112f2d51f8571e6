"""Runs a season: stretch by stretch of minutes over which the same thing is wrong."""

import numpy as np
from scipy.signal import lfilter

from .plant import array, curve_of, off_peak

START_W_SHARE = 0.09


def operate(site, pump, hurt, sky, part, resting, true, ambient_case):
    """Columns over the minutes `part` as if the pump were always asked to run."""
    poa, ambient = sky.poa[part], sky.ambient[part]
    if hurt.shade:
        first, last, lost = hurt.shade
        hit = (sky.azimuth[part] > first) & (sky.azimuth[part] < last)
        poa_seen = poa * np.where(hit, 1 - lost * sky.beam_share[part], 1)
    else:
        poa_seen = poa
    cell = ambient + poa * 0.031 * (1.25 - 0.09 * np.minimum(sky.wind[part], 5))
    best, v_best, _, v_open = array(site, hurt, poa_seen, cell, true["current"], true["voltage"])
    rpm, watts, flow, amps, drawn, above = curve_of(site, pump, hurt, resting)
    order = np.maximum.accumulate(watts + np.arange(watts.size) * 1e-6)
    cap = site["cap_w"] * hurt.cap
    hot = np.clip(1 - (ambient + ambient_case + poa * 0.018 - 62) / 30, 0.3, 1)
    allowed = np.minimum(best, np.minimum(cap, site["cap_w"] * hot * 1.0) if hurt.cap < 1 else cap)
    taken = np.minimum(allowed, order[-1])
    run = allowed > max(
        order[2], START_W_SHARE * site["cap_w"]
    )  # what it could take: a motor with nothing on its shaft runs
    at = {name: np.interp(taken, order, column) for name, column in
          {"rpm": rpm, "flow": flow, "amps": amps, "drawn": drawn, "above": above}.items()}  # fmt: skip
    return {
        "best": best,
        "v_best": v_best,
        "v_open": v_open,
        "taken": taken,
        "run": run,
        "cell": cell,
        "hot": hot,
        "leak": np.full(len(best), hurt.leak),
        **at,
    }


def settle(values, minutes):
    """A first-order answer, minute by minute."""
    k = 1 - np.exp(-1 / minutes)
    return lfilter([k], [1, k - 1], values)


def control(site, ops, asked, use):
    """Walk the minutes: tank, float, start delay, and the column that a hole lets run out. Running, tank level, float, flow delivered."""
    n = len(asked)
    running = np.zeros(n, bool)
    tank, full, delay = site["tank"] * 0.5, False, 0
    levels, floats, arrived = np.empty(n), np.zeros(n), np.zeros(n)
    column = 0.7 * site["setting"] * np.pi * (site["diameter"] / 2000) ** 2  # above the hole, m3
    missing = 0.0
    could, flow = ops["run"] & asked, ops["flow"]
    for i in range(n):
        want = could[i] and not full
        delay = delay + 1 if want else 0
        if delay > 1:
            running[i] = True
            fill = min(missing, flow[i] / 60)
            missing -= fill
            arrived[i] = flow[i] - 60 * fill
            tank += arrived[i] / 60
        else:
            missing = min(column, missing + ops["leak"][i] / 60)
        tank = max(tank - use[i] / 60, 0.0)
        if tank >= site["tank"]:
            full, tank = True, site["tank"]
        elif full and tank < site["tank"] * 0.9:
            full = False
        levels[i], floats[i] = tank, full
    return running, levels, floats, arrived


def voltages(ops, running, rng):
    """What the controller's input meters show."""
    share = np.where(running, ops["taken"] / np.maximum(ops["best"], 1e-6), 0.0)
    held = off_peak(share, ops["v_best"], ops["v_open"])
    track = ops["v_best"] * (1 + rng.normal(0, 0.012, share.size))
    volts = np.where(running, np.where(share > 0.985, track, held), ops["v_open"] * 0.99)
    amps = np.where(running, ops["taken"] / np.maximum(volts, 1), 0.02)
    return volts, amps
