"""What a healthy pump gives at this site, as a small table for the board: power, flow, speed, pressure.

From the site file's datasheet curve and its well and pipes; plain Python, to a tenth or so, which is enough to tell water from no
water. The server's expected side (analysis/expected.py) is the exact one, and a test holds the two together.
Flow: a site file's facts -> HERE -> enrolment.py writes the board file's [pump]. Never: a file, a measurement, a judgement.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import groupby

from logger.record.site_facts import CurveRow, SiteFacts
from logger.settings_tables import Expected

ROWS = 7
LEAST_SHARE = {"helical-rotor": 0.15, "multistage-centrifugal": 0.45}
"""Of the largest flow: below it a lower water level could keep even a healthy pump from lifting, so nothing is expected. Impellers
lift nothing below a speed, and just above it a little head decides."""
VISCOSITY_M2_S, GRAVITY_M_S2, BAR_PER_M = 1.004e-6, 9.81, 0.0979
"""Water at 20 degC: 998.2 kg/m3 x 9.81 m/s2 = 0.0979 bar a metre (IAPWS-95, kinematic viscosity likewise)."""
CONTROLLER_EFFICIENCY = 0.96
"""Of a drive near its rated power (common practice, no source); only where the curve is given at the motor's terminals."""
PRESSURE_BAR_MIN = 0.3
"""A gauge's error would be as large as a lower pressure."""
BELOW_DATASHEET = 0.5
"""Of the datasheet's least power, down to which its lines are carried on: a dry pump draws little."""
SPEED_STEPS = 60
HALVINGS = 40

Line = list[tuple[float, float]]


def healthy_table(facts: SiteFacts) -> tuple[Expected, ...]:
    """Rising in power; empty where the curve's rows are too few to tell."""
    made = _scaled_by_speed(facts) if facts.pump.kind == "multistage-centrifugal" else _by_head(facts)
    if not made:
        return ()
    most = max(row.flow_m3_h for row in made)
    able = [row for row in made if row.flow_m3_h >= LEAST_SHARE[facts.pump.kind] * most]
    able.sort(key=lambda row: row.input_power_w)
    if len(able) < 2:
        return ()
    places = sorted({round(number * (len(able) - 1) / (ROWS - 1)) for number in range(ROWS)})
    return tuple(_finished(able[place], facts) for place in places)


def head_m(flow_m3_h: float, facts: SiteFacts) -> float:
    """From the pumping level to the outlet, with friction, in m."""
    well = facts.well
    drawdown = well.drawdown_linear_m_per_m3_h * flow_m3_h + well.drawdown_quadratic_m_per_m3_h2 * flow_m3_h * abs(
        flow_m3_h
    )
    made, q = facts.delivery, flow_m3_h
    riser = _friction_m(q, made.riser_length_m, made.riser_inner_diameter_mm, made.roughness_mm)
    return well.static_level_m + drawdown + riser + _beyond_wellhead_m(q, facts)


def _beyond_wellhead_m(flow_m3_h: float, facts: SiteFacts) -> float:
    made = facts.delivery
    pipe = _friction_m(flow_m3_h, made.pipe_length_m, made.pipe_inner_diameter_mm, made.roughness_mm)
    fittings = made.minor_loss_coefficient * _speed_m_s(flow_m3_h, made.pipe_inner_diameter_mm) ** 2 / 2 / GRAVITY_M_S2
    return made.outlet_height_m + pipe + fittings


def _speed_m_s(flow_m3_h: float, diameter_mm: float) -> float:
    return flow_m3_h / 3600 / (math.pi / 4 * (diameter_mm / 1000) ** 2)


def _friction_m(flow_m3_h: float, length_m: float, diameter_mm: float, roughness_mm: float) -> float:
    """Darcy's equation; factor 64/Re where laminar, else Haaland's (J. Fluids Eng. 105(1), 1983)."""
    speed = _speed_m_s(flow_m3_h, diameter_mm)
    reynolds = speed * diameter_mm / 1000 / VISCOSITY_M2_S
    if reynolds < 1:
        return 0.0
    turbulent = (-1.8 * math.log10((roughness_mm / diameter_mm / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2
    factor = 64 / reynolds if reynolds < 2300 else turbulent
    return factor * length_m / (diameter_mm / 1000) * speed**2 / 2 / GRAVITY_M_S2


def _finished(row: Expected, facts: SiteFacts) -> Expected:
    power_w = row.input_power_w / (1.0 if facts.pump.curve_power_at == "controller-input" else CONTROLLER_EFFICIENCY)
    bar = BAR_PER_M * _beyond_wellhead_m(row.flow_m3_h, facts)
    fitted = "discharge_pressure_bar" in facts.sensors.channels and bar >= PRESSURE_BAR_MIN
    return replace(
        row,
        input_power_w=round(power_w, 0),
        flow_m3_h=round(row.flow_m3_h, 3),
        motor_speed_rpm=None if row.motor_speed_rpm is None else round(row.motor_speed_rpm, 0),
        discharge_pressure_bar=round(bar, 2) if fitted else None,
    )


def _by_head(facts: SiteFacts) -> list[Expected]:
    """Displacement pumps: at each head of the datasheet flow is a line over power; between heads, on the line between those."""
    lines, speeds = _lines(facts.pump.curve)
    if not lines:
        return []
    low = BELOW_DATASHEET * max(line[0][0] for line in lines.values())
    high = max(line[-1][0] for line in lines.values())
    made = []
    for step in range(SPEED_STEPS + 1):
        power = low + (high - low) * step / SPEED_STEPS
        flow = _balance(lambda head, power=power: _between_heads(lines, head, power), facts)  # type: ignore[misc]
        if flow is not None:
            speed = _between_heads(speeds, head_m(flow, facts), power) if speeds else None
            made.append(Expected(power, flow, motor_speed_rpm=speed))
    return made


def _lines(curve: Sequence[CurveRow]) -> tuple[dict[float, Line], dict[float, Line]]:
    """By head: flow over power, and speed over power (none where a row says no speed)."""
    flows: dict[float, Line] = {}
    speeds: dict[float, Line] = {}
    ordered = sorted(curve, key=lambda row: (row.head_m, row.power_w))
    for head, group in groupby(ordered, key=lambda row: row.head_m):
        rows = list(group)
        if len(rows) < 2 or rows[0].power_w == rows[-1].power_w:
            continue
        flows[head] = [(row.power_w, row.flow_m3_h) for row in rows]
        speeds[head] = [(row.power_w, row.speed_rpm) for row in rows if row.speed_rpm is not None]
    told = len(flows) > 0 and all(len(line) >= 2 for line in speeds.values())
    return flows, speeds if told else {}


def _between_heads(lines: dict[float, Line], head: float, power: float) -> float:
    heads = sorted(lines)
    if len(heads) == 1:  # lifting power goes with the head
        return on_line(lines[heads[0]], power * heads[0] / head if head > 0 else power)
    upper = min(max(1, sum(known < head for known in heads)), len(heads) - 1)
    low, high = heads[upper - 1], heads[upper]
    share = (head - low) / (high - low)
    return on_line(lines[low], power) * (1 - share) + on_line(lines[high], power) * share


def _balance(flow_of_head: Callable[[float], float], facts: SiteFacts) -> float | None:
    """The flow at which the pump's head is the installation's; None: it lifts nothing."""
    low, high = 0.0, 2 * max(row.flow_m3_h for row in facts.pump.curve)
    if flow_of_head(head_m(low, facts)) <= 0:
        return None
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if flow_of_head(head_m(middle, facts)) > middle else (low, middle)
    return low


def _scaled_by_speed(facts: SiteFacts) -> list[Expected]:
    """Impeller pumps: the curve at the highest speed, carried to others by the affinity laws (Q ~ n, H ~ n2, P ~ n3)."""
    fastest = max((row.speed_rpm for row in facts.pump.curve if row.speed_rpm is not None), default=None)
    top: dict[float, CurveRow] = {}
    for row in sorted(facts.pump.curve, key=lambda row: row.power_w):
        if fastest is None or row.speed_rpm is not None and row.speed_rpm >= 0.98 * fastest:
            top[row.head_m] = row
    rows = [top[head] for head in sorted(top)]
    if len(rows) < 2:
        return _by_head(facts)
    flows = [(row.head_m, row.flow_m3_h) for row in rows]
    powers = [(row.head_m, row.power_w) for row in rows]
    made = []
    for step in range(SPEED_STEPS // 3, SPEED_STEPS + 1):
        speed = step / SPEED_STEPS
        flow = _balance(lambda head, speed=speed: speed * on_line(flows, head / speed**2), facts)  # type: ignore[misc]
        if flow is not None and flow > 0:
            power = speed**3 * on_line(powers, head_m(flow, facts) / speed**2)
            made.append(Expected(power, flow, motor_speed_rpm=None if fastest is None else speed * fastest))
    return made


def on_line(line: Line, at: float) -> float:
    """Between the points, and beyond them on the last two. `line` rises in its first figure."""
    place = min(max(1, sum(point[0] < at for point in line)), len(line) - 1)
    (low_x, low), (high_x, high) = line[place - 1], line[place]
    return low + (high - low) * (at - low_x) / (high_x - low_x)
