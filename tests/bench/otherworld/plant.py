"""One pump's minutes: sun to power to speed to water, with whatever is wrong that minute."""

from dataclasses import dataclass, field

import numpy as np

from .pumps import Helical, worn
from .sites import MODULE

SPEEDS = 64


@dataclass
class Hurt:
    """What is wrong during a stretch of one day; each 0 or 1 where nothing is."""

    wear: float = 0.0
    intake_k: float = 0.0  # m per (m3/h)^2
    delivery_k: float = 0.0
    leak: float = 0.0  # m3/h at 50 m
    deeper: float = 0.0  # m
    drawdown: float = 1.0
    current: float = 1.0  # array current left
    voltage: float = 1.0  # array voltage left
    series_ohm: float = 0.0
    motor_ohm: float = 0.0
    cap: float = 1.0  # share of power that the controller lets through
    state: str = ""  # dry, shut, broken, reversed, stalled, no-start
    shade: tuple = field(default=())  # azimuth from, to, share lost


def friction(flow, metres, mm):
    v = flow / 3600 / (np.pi * (mm / 1000) ** 2 / 4)
    reynolds = np.maximum(v * mm / 1000 / 0.95e-6, 10)
    f = np.where(reynolds < 2300, 64 / reynolds, 0.3164 / reynolds**0.25)
    return f * metres / (mm / 1000) * v**2 / 19.62


def heads(site, hurt, flow, resting):
    """Head at the pump, and what of it the wellhead gauge sees (m above the datum)."""
    drawn = hurt.drawdown * (site["linear"] * flow + site["square"] * flow**2)
    above = (
        site["outlet"]
        + friction(flow, 60, site["diameter"])
        + 0.3 * flow**2 / site["diameter"] ** 4 * 1e6 * 0.1
        + hurt.delivery_k * flow**2
    )
    return (
        resting
        + hurt.deeper
        + drawn
        + friction(flow, site["setting"], site["diameter"])
        + above
        + hurt.intake_k * flow**2,
        above,
        drawn,
    )


def curve_of(site, pump, hurt, resting):
    """Steady operation over the speeds at one resting level: power in, flow, current, drawdown and wellhead head."""
    pump = worn(pump, hurt.wear)
    rpm = np.linspace(0.05, 1, SPEEDS) * site["top_rpm"] * site.get("speed_share", 1.0)
    if hurt.state in ("dry", "broken", "shut", "reversed"):
        return _special(site, pump, hurt, rpm, resting)
    flow = np.zeros(SPEEDS)
    for _ in range(60):
        head, above, drawn = heads(site, hurt, flow, resting)
        flow = 0.65 * flow + 0.35 * pump.flow(rpm, head)
    watts, amps = pump.draw(rpm, head)
    watts = watts + 3 * hurt.motor_ohm * amps**2
    delivered = np.maximum(flow - hurt.leak * np.sqrt(np.maximum(head, 0) / 50), 0)
    return rpm, watts, delivered, amps, drawn, above


def _special(site, pump, hurt, rpm, resting):
    zero = np.zeros(SPEEDS)
    helical = isinstance(pump, Helical)
    above = zero + site["outlet"]
    if hurt.state == "shut":
        head = (zero + 190) if helical else pump.stages * pump.h0 * (rpm / 2900) ** 2
        watts, amps = pump.draw(rpm, np.minimum(head, 190))
        if helical:
            rpm = rpm * 0.25
            watts = watts * 0.3
        return rpm, watts, zero, amps, zero, np.maximum(head - resting, above)
    light, amps = pump.draw(rpm, zero)
    if hurt.state == "reversed" and not helical:
        head, above, drawn = heads(site, hurt, zero, resting)
        watts, amps = pump.draw(rpm, head)
        return rpm, watts * 1.1, zero, amps * 1.1, zero, above
    share = {"dry": 0.9, "broken": 0.35, "reversed": 1.0}[hurt.state]
    if not helical:
        share *= 0.45
        amps = amps * 0.6
    return rpm, light * share, zero, amps * share, zero, above


def array(site, hurt, poa, cell, current_true, voltage_true):
    """Maximum power and its voltage and current, and the open-circuit voltage, at the controller's input."""
    sun = np.maximum(poa, 1e-6) / 1000
    amps = site["strings"] * MODULE["i_mp_a"] * sun * (1 + 0.0005 * (cell - 25)) * hurt.current * current_true
    bend = 1 + 0.035 * np.log(np.maximum(sun, 0.02))
    volts = site["series"] * MODULE["v_mp_v"] * (1 - 0.0041 * (cell - 25)) * bend * hurt.voltage * voltage_true
    volts = volts - amps * hurt.series_ohm
    open_v = (
        site["series"]
        * MODULE["v_oc_v"]
        * (1 - 0.0029 * (cell - 25))
        * (1 + 0.04 * np.log(np.maximum(sun, 1e-3)))
        * hurt.voltage
    )
    return np.maximum(amps * volts, 0), np.maximum(volts, 0), amps, np.maximum(open_v, 0)


def off_peak(share, volts, open_v):
    """Voltage where only a share of the maximum power is taken, on the open-circuit side."""
    return volts + (open_v - volts) * np.sqrt(np.clip(1 - share, 0, 1)) * 0.97
