"""The pump's table against the fit of its own other rows: one row typed wrongly, and a pump called the other kind.

Flow: remark.py, pump_curve.py -> HERE -> site_check/__init__.py
Limits: one row at a time, and five rows at least beside it; fewer can be bent to fit anything. Tables without speeds are not
judged: speed is then read out of power and flow, and follows whatever is written there. A row is named only where all the
others agree once it is left out, so a column that slipped as a whole is not seen here (`datasheets.py`).
"""

from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from analysis.physics.hydraulic_power import hydraulic_power_w
from analysis.physics.pump_curve import fit_pump
from analysis.site_check.remark import Checked, Remark, Remarks
from logger.record.site_facts import CurveRow, Pump, PumpKind

ROWS_LEAST = 6
OFF = 0.15
"""Of the fit's value: a row of a sound datasheet keeps within a few percent, its rounding included (common practice, no source)."""
OFF_OF_MOST = 0.05
"""Of the table's largest flow: close to shut-off a small error of head is a large share of what little flows."""
FINE = 0.02
"""No row further from the fit than this: nothing to look for."""
AGREE, BETTER = 0.06, 3.0
"""The others agree with each other to this share, and so many times better than all the rows together."""
TRIED = 24
"""Rows left out one after the other, those of the worst misfit first: a long table would take long."""
UNITS = {
    "flow_m3_h": (("L/s", 1 / 3.6), ("L/min", 60 / 3.6), ("m3/day", 24.0)),
    "speed_rpm": (("1/s", 1 / 60.0),),
    "power_w": (("hp", 1 / 745.7), ("kW", 1e-3)),
}
"""By column: units written by mistake, and what a number in them is over the right one."""
NEAR = 0.1
RUN_OUT = 0.95
"""Of the flow that a pump gives against no head at all: no datasheet lists rows so far out, where next to no power becomes lift
(common practice, no source)."""
SAME, FASTER = 0.01, 0.05
"""Heads or speeds of two rows that count as one; how much faster or higher is surely so: a datasheet's rounding (common practice, no source)."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Read:
    """What a fit says of some rows: flow at their speed and head [m3/h], power [W], speed at their flow and head [1/min]."""

    flow_m3_h: Floats
    power_w: Floats
    speed_rpm: Floats


@dataclass(frozen=True)
class OtherKind:
    """Another kind of pump that fits a table, by how much both kinds miss its worst row, as shares."""

    kind: PumpKind
    own: float
    theirs: float


def other_kind(pump: Pump) -> OtherKind | None:
    """The other kind of pump where it fits the table and the file's own does not; None where too few rows or no speeds tell."""
    pump = replace(pump, curve_power_at="controller-input")
    if len(pump.curve) < ROWS_LEAST or any(row.speed_rpm is None for row in pump.curve):
        return None
    own = _worst(pump, pump.curve)
    return _other_kind(pump, own) if FINE < own < np.inf else None


def _other_kind(pump: Pump, own: float) -> OtherKind | None:
    other: PumpKind = "multistage-centrifugal" if pump.kind == "helical-rotor" else "helical-rotor"
    theirs = _worst(replace(pump, kind=other), pump.curve)
    return OtherKind(other, own, theirs) if BETTER * theirs < own and theirs < AGREE else None


def pump_rows(site: Checked) -> Remarks:
    """The kind first, for rows are judged by it; then the one row that leaves the fit of the others.

    Quiet where no pump can be fitted at all: `datasheets.pump_table` says so.
    """
    pump = replace(site.facts.pump, curve_power_at="controller-input")
    if len(pump.curve) < ROWS_LEAST:
        yield from _against_each_other(site, pump)
        yield from _kind_of_few(site, pump)
        return
    if any(row.speed_rpm is None for row in pump.curve):
        return
    own = _worst(pump, pump.curve)
    if not FINE < own < np.inf:
        return  # sound, or no pump at all
    found = _other_kind(pump, own)
    if found is not None:
        yield site.doubtful(
            "pump.kind", f"a {pump.kind} pump misses the table's rows by up to {own:.0%}, a {found.kind} pump by {found.theirs:.1%}",
            f'is it "{found.kind}"? The flow of a helical rotor hardly falls with head, that of a centrifugal pump does',
        )  # fmt: skip
        return
    odd = _odd_row(pump, own)
    if odd is not None:
        remark = _of_row(site, pump, odd)
        if remark is not None:
            yield remark


def _against_each_other(site: Checked, pump: Pump) -> Remarks:
    """Two rows that no one pump can have both: few rows need no fit to say so. Any pump lifts more, on more power, when it turns faster
    against one head, and no more against a higher head at one speed.
    """
    rows = [(number, row, row.speed_rpm) for number, row in enumerate(pump.curve, 1) if row.speed_rpm]
    if any(hydraulic_power_w(row.flow_m3_h, row.head_m) >= row.power_w for _, row, _ in rows):
        return  # columns exchanged, or another unit: `datasheets.pump_table` says so
    most = max((row.flow_m3_h for _, row, _ in rows), default=0.0)
    for (one, a, slow), (two, b, fast) in permutations(rows, 2):
        same_head = abs(a.head_m - b.head_m) <= SAME * max(a.head_m, b.head_m)
        if same_head and fast > (1.0 + FASTER) * slow:
            for column, less, more in (("flow_m3_h", b.flow_m3_h, a.flow_m3_h), ("power_w", b.power_w, a.power_w)):
                if less < more:
                    yield site.doubtful(
                        f"pump.curve[{two}].{column}",
                        f"{less:g} at {fast:g} 1/min, less than row {one} has at {slow:g} 1/min against the same head ({more:g})",
                        "compare both rows with the datasheet, their speeds too: are digits exchanged, or a decimal point lost?",
                    )  # fmt: skip
        same_speed = abs(slow - fast) <= SAME * max(slow, fast)
        if same_speed and b.head_m > (1.0 + FASTER) * a.head_m and b.flow_m3_h > a.flow_m3_h + OFF_OF_MOST * most:
            yield site.doubtful(
                f"pump.curve[{two}].flow_m3_h",
                f"{b.flow_m3_h:g} m3/h against {b.head_m:g} m, more than row {one} lifts at the same speed against {a.head_m:g} m "
                f"({a.flow_m3_h:g} m3/h)",
                "compare both rows with the datasheet, their heads too",
            )  # fmt: skip


def _kind_of_few(site: Checked, pump: Pump) -> Remarks:
    """Two rows of a centrifugal pump that none can have both, few as they are: as speed rises, each turn of it lifts as much water against
    heads that rise with its square (affinity). A row that lifts nearly as much a turn at a small part of that head would stand at the end of
    the curve, taken as a parabola; a helical rotor's rows all look so.
    """
    rows = [
        (number, row, row.speed_rpm)
        for number, row in enumerate(pump.curve, 1)
        if row.speed_rpm and row.flow_m3_h and row.head_m
    ]
    if pump.kind != "multistage-centrifugal":
        return
    worst = None
    for (one, a, slow), (two, b, fast) in permutations(rows, 2):
        times = fast / slow
        head, turn = a.head_m * times**2 / b.head_m, a.flow_m3_h * times / b.flow_m3_h
        if times > 1.0 + FASTER and head > 1.0:
            of_most = 1.0 if turn >= 1.0 else float(np.sqrt((head - 1.0) / (head - turn**2)))
            if of_most > RUN_OUT and (worst is None or head > worst[0]):
                worst = head, one, a, slow, two, b, fast
    if worst is not None:
        _, one, a, slow, two, b, fast = worst
        times = fast / slow
        yield site.doubtful(
            "pump.kind",
            f"a centrifugal pump that lifts row {one} ({a.flow_m3_h:g} m3/h against {a.head_m:g} m at {slow:g} 1/min) lifts {a.flow_m3_h * times:.3g} "
            f"m3/h against {a.head_m * times**2:.0f} m at {fast:g} 1/min; row {two} has {b.flow_m3_h:g} m3/h against {b.head_m:g} m there",
            'is it "helical-rotor"? Its flow hardly falls with head at any speed; else compare both rows with the datasheet, their speeds too',
        )  # fmt: skip


def _odd_row(pump: Pump, own: float) -> int | None:
    """Index of the row without which the others agree best, if they then do."""
    misfit = _misfit(pump, pump.curve)
    tried = np.argsort(-misfit, kind="stable")[:TRIED]
    left = {int(row): _worst(pump, _without(pump, int(row))) for row in tried}
    best = min(left, key=lambda row: left[row])
    return best if left[best] < AGREE and BETTER * left[best] < own else None


def _of_row(site: Checked, pump: Pump, number: int) -> Remark | None:
    """The column of the row that is off: a wrong speed puts flow and power off, and agrees with both when mended."""
    row, rest = pump.curve[number], _without(pump, number)
    seen = _read(pump, rest, (row,))
    flow, power, speed = float(seen.flow_m3_h[0]), float(seen.power_w[0]), float(seen.speed_rpm[0])
    flow_off = abs(row.flow_m3_h - flow) > max(OFF * flow, OFF_OF_MOST * max(r.flow_m3_h for r in rest))
    power_off = abs(row.power_w - power) > OFF * power
    mended = _read(pump, rest, (replace(row, speed_rpm=speed),)) if np.isfinite(speed) and speed > 0 else None
    speed_off = (
        flow_off and power_off and mended is not None and abs(row.power_w / float(mended.power_w[0]) - 1.0) < OFF
    )
    if speed_off:
        return _said(site, number, "speed_rpm", float(row.speed_rpm or 0.0), speed, "1/min")
    if flow_off:
        return _said(site, number, "flow_m3_h", row.flow_m3_h, flow, "m3/h")
    if power_off:
        return _said(site, number, "power_w", row.power_w, power, "W")
    return None


def _said(site: Checked, number: int, column: str, stated: float, expected: float, unit: str) -> Remark:
    what = f"{stated:g} {unit}, where the table's other rows together give about {_three(expected)}"
    fix = "compare this row, its head too, with the datasheet: are digits exchanged, or is it from another line or column?"
    for name, share in UNITS[column]:
        if expected > 0 and abs(stated / expected / share - 1.0) < NEAR:
            fix = f"is it in {name}? {stated:g} {name} are {_three(stated / share)} {unit}"
    return site.doubtful(f"pump.curve[{number + 1}].{column}", what, fix)


def _three(value: float) -> str:
    """Three digits, never as a power of ten."""
    return f"{float(f'{value:.3g}'):.10g}"


def _without(pump: Pump, number: int) -> tuple[CurveRow, ...]:
    return pump.curve[:number] + pump.curve[number + 1 :]


def _read(pump: Pump, fitted: tuple[CurveRow, ...], asked: tuple[CurveRow, ...]) -> Read:
    """Fit some rows, ask it about others. ValueError: they fit no pump."""
    model = fit_pump(replace(pump, curve=fitted))
    head, flow = np.array([row.head_m for row in asked]), np.array([row.flow_m3_h for row in asked])
    x = np.array([row.speed_rpm or np.nan for row in asked]) / model.core.reference_rpm
    return Read(
        model.core.flow(x, head), model.core.power_at_head(x, head),
        model.relative_speed_of_flow(flow, head) * model.core.reference_rpm,
    )  # fmt: skip


def _misfit(pump: Pump, rows: tuple[CurveRow, ...]) -> Floats:
    """By row, the larger of flow's and power's distance from the fit of all, as a share; infinite where they fit no pump. [-]"""
    flow, power = np.array([row.flow_m3_h for row in rows]), np.array([row.power_w for row in rows])
    try:
        seen = _read(pump, rows, rows)
    except ValueError:
        return np.full(len(rows), np.inf)
    of_flow = np.abs(seen.flow_m3_h - flow) / np.maximum(flow, OFF_OF_MOST / OFF * flow.max())
    return np.nan_to_num(np.maximum(of_flow, np.abs(seen.power_w - power) / power), nan=1.0)


def _worst(pump: Pump, rows: tuple[CurveRow, ...]) -> float:
    return float(_misfit(pump, rows).max())
