"""From a table to a pump: the entry for datasheets and for test-bench rows.

Flow: site facts or bench rows -> HERE -> PumpModel (pump_model.py).
Never: I/O, pandas.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.cable import WATER_COOLED_C, three_phase_loss_w
from analysis.physics.centrifugal import CentrifugalCore, fit_centrifugal
from analysis.physics.helical import HelicalCore, fit_helical
from analysis.physics.latent_speed import centrifugal_speed, helical_speed
from analysis.physics.pump_model import PumpKind, PumpModel, Spread
from analysis.physics.pump_table import PumpTable, bench_table, pump_table
from analysis.physics.pump_tolerance import tolerance

if TYPE_CHECKING:
    from logger.record.site_facts import Cable, Motor, Pump

Floats = NDArray[np.float64]

KINDS = ("helical-rotor", "multistage-centrifugal")
COVERAGE = 2.0  # a tolerance is read as the half-width that 19 of 20 pumps keep
DRIVE_EFFICIENCY, DRIVE_EFFICIENCY_STD = 0.96, 0.02  # a small inverter's (common practice, no source)
BETWEEN_ROWS = 0.02  # doubt between the rows over the root of their number; set from synthetic pumps of known truth
TABLE_CABLE_M = (
    10.0  # of motor cable that a datasheet's powers hold, and how far that may be off (common practice, no source)
)
RPM_PER_HZ = (
    60.0  # a two-pole motor's, as borehole motors are; for another only the scale's name (common practice, no source)
)
FREQUENCY_MOST_HZ = 400.0  # of drives for borehole motors, the fastest with many poles (same)
RELATIVE_RPM = 1000.0  # what relative speed 1 is called where nothing is known


def fit_curve(rows: Mapping[str, ArrayLike], kind: PumpKind, rated_speed_rpm: float | None = None) -> PumpModel:
    """Fit a pump to rows from a datasheet or a test bench.

    Parameters
    ----------
    rows : mapping of name to array-like (or a data frame), each shape (n,), n >= 3
        `head_m` [m], `flow_m3_h` [m3/h], `power_w` [W], and `speed_rpm` [1/min] where known. At two heads or more. A bench that noted the
        drive's frequency gives `drive_frequency_hz` [Hz] instead: it stands for `RPM_PER_HZ` turns each, in answers too.
        Measured, so a row may lack a value (NaN or None) or stand still (flow 0 and speed or power 0): such rows are left out.
    kind : str
        "helical-rotor" or "multistage-centrifugal".
    rated_speed_rpm : float, optional
        Only names the scale of the hidden speed where the rows have none. [1/min]

    Returns
    -------
    PumpModel
        `.flow(speed, head)`, `.head(speed, flow)`, `.power(speed, flow)`, `.power_of_speed(speed, head)`,
        `.flow_of_power(power, head)`, `.power_of_flow(flow, head)`, `.speed_of_power(power, head)`,
        `.speed_of_flow(flow, head)`, `.answer(method, a, b)` with uncertainty and reason, `.lookup()` for large arrays.

    Raises
    ------
    ValueError
        Unknown kind, missing or unknown column, or rows that cannot be a pump's (see pump_table).

    Notes
    -----
    Shut-off rows (flow 0) and rows in any order are welcome; a flow or head below 0 by less than 1 % of the largest is a
    meter's zero and counts as 0. Power is whatever the rows' power is: shaft, motor terminals
    or controller input. Without speeds, flow of power and head is still exact in the sense of the affinity laws.

    References
    ----------
    .. [1] ISO 9906:2012, clause 4.4 (tolerances; up to 10 kW default +-10 % flow, +-8 % head). From memory.

    Examples
    --------
    A bench run at two speeds, asked at a third:

    >>> rows = {
    ...     "speed_rpm": [1800, 1800, 1800, 2900, 2900, 2900],
    ...     "flow_m3_h": [0.0, 4.0, 7.0, 0.0, 6.4, 11.3],
    ...     "head_m": [31.0, 27.0, 18.7, 80.5, 70.0, 48.5],
    ...     "power_w": [310, 470, 560, 1200, 1850, 2240],
    ... }
    >>> pump = fit_curve(rows, "multistage-centrifugal")
    >>> print(f"{pump.head(2400, 5.0):.0f} m, {pump.power(2400, 5.0):.0f} W, {pump.flow(2400, 40.0):.1f} m3/h")
    49 m, 1048 W, 7.8 m3/h
    >>> from analysis.physics import Reason
    >>> at_90_m = pump.answer("flow", 2400, 90.0)
    >>> float(at_90_m.value), Reason(int(at_90_m.reason)).name
    (0.0, 'NOT_LIFTING')
    """
    if kind not in KINDS:
        raise ValueError(f"kind must be one of {', '.join(KINDS)}, got {kind!r}")
    rows = _with_speed(rows)
    known = {"head_m", "flow_m3_h", "power_w", "speed_rpm"}
    missing, strange = {"head_m", "flow_m3_h", "power_w"} - set(rows), set(rows) - known
    if missing or strange:
        raise ValueError(
            f"curve: columns missing: {sorted(missing) or 'none'}, not known: {sorted(strange) or 'none'}; "
            "they are head_m, flow_m3_h, power_w and, where known, speed_rpm or drive_frequency_hz"
        )
    table = bench_table(rows["head_m"], rows["flow_m3_h"], rows["power_w"], rows.get("speed_rpm"))
    return _fit(table, kind, rated_speed_rpm, extra_power_share=0.0)


def _with_speed(rows: Mapping[str, ArrayLike]) -> Mapping[str, ArrayLike]:
    """The rows with `speed_rpm` in place of the drive's frequency, where they hold that. ValueError: both."""
    if "drive_frequency_hz" not in rows:
        return rows
    if "speed_rpm" in rows:
        raise ValueError("curve: give speed_rpm or drive_frequency_hz, not both: a motor's slip lies between them")
    column = np.ravel(np.asarray(rows["drive_frequency_hz"], object))
    frequency = np.array([np.nan if one is None else one for one in column], float)
    if frequency.size and np.nanmax(frequency, initial=0.0) > FREQUENCY_MOST_HZ:
        raise ValueError(
            f"curve: drive_frequency_hz reaches {np.nanmax(frequency):g}; is it in 1/min? Then it is speed_rpm"
        )
    kept = {name: rows[name] for name in rows if name != "drive_frequency_hz"}
    return kept | {"speed_rpm": RPM_PER_HZ * frequency}


def fit_pump(pump: "Pump", motor: "Motor | None" = None, cable: "Cable | None" = None) -> PumpModel:
    """Fit the pump of a site file; its powers are at the controller's input afterwards.

    Parameters
    ----------
    pump : site_facts.Pump
        Kind and datasheet table.
    motor : site_facts.Motor, optional
        Rated speed and current [1/min], [A].
    cable : site_facts.Cable, optional
        Controller to motor; used where the table's power is at the motor's terminals. [m], [mm2]

    Returns
    -------
    PumpModel

    Raises
    ------
    ValueError
        The table cannot be a pump's.

    Notes
    -----
    A table at the motor's terminals is led back to the controller's input: divided by a drive efficiency of
    0.96 +- 0.02. Where rated current and cable are known, the cable's loss 3 I^2 R is added (2 I^2 R with direct current), the current
    in proportion to torque, rated at the table's largest: a datasheet knows nothing of the depth that its pump will hang at, so a
    table at the controller's input holds a short cable's loss, taken as 10 +- 10 m.

    References
    ----------
    .. [1] IEC 60228, resistance of copper conductors (`cable.py`).
    """
    speeds = [row.speed_rpm for row in pump.curve if row.speed_rpm is not None]
    table = pump_table(
        [row.head_m for row in pump.curve],
        [row.flow_m3_h for row in pump.curve],
        [row.power_w for row in pump.curve],
        speeds if len(speeds) == len(pump.curve) else None,
    )
    at_terminals = pump.curve_power_at == "motor-terminals"
    loss, doubt = _lost_in_cable(table, motor, cable, 0.0 if at_terminals else TABLE_CABLE_M)
    efficiency = DRIVE_EFFICIENCY if at_terminals else 1.0
    power = table.power_w + loss
    extra = float(np.hypot(DRIVE_EFFICIENCY_STD / efficiency if at_terminals else 0.0, np.max(doubt / power)))
    table = PumpTable(table.head_m, table.flow_m3_h, power / efficiency, table.speed_rpm)
    return _fit(table, pump.kind, motor.rated_speed_rpm if motor else None, extra)


def _lost_in_cable(
    table: PumpTable, motor: "Motor | None", cable: "Cable | None", held_m: float
) -> tuple[Floats, Floats]:
    """Heat in the motor's cable at each row, beyond what `held_m` of it lose, and what that length leaves open. [W]"""
    nothing: Floats = np.zeros_like(table.power_w)
    if not (motor and cable and motor.rated_current_a and cable.length_m > 0):
        return nothing, nothing
    torque = table.power_w if table.speed_rpm is None else table.power_w / table.speed_rpm
    current = motor.rated_current_a * torque / torque.max()
    a_metre = three_phase_loss_w(current, 1.0, cable.conductor_mm2, WATER_COOLED_C)
    if motor.kind == "brushed-dc":
        a_metre *= 2.0 / 3.0  # two conductors instead of three
    return a_metre * max(cable.length_m - held_m, 0.0), a_metre * held_m


def _fit(table: PumpTable, kind: PumpKind, rated_rpm: float | None, extra_power_share: float) -> PumpModel:
    head, flow, power = table.head_m, table.flow_m3_h, table.power_w
    speed_known = table.speed_rpm is not None
    if table.speed_rpm is not None:
        reference = float(table.speed_rpm.max())
        x = table.speed_rpm / reference
    else:
        reference = rated_rpm or RELATIVE_RPM
        helical = kind == "helical-rotor"
        x = helical_speed(head, flow, power) if helical else centrifugal_speed(head, flow, power)
    if kind == "helical-rotor":
        core: HelicalCore | CentrifugalCore = fit_helical(x, head, flow, power, reference)
    else:
        core = fit_centrifugal(x, head, flow, power, reference, stiff=not speed_known)
    lifting = flow > 0
    model = PumpModel(
        kind, core, speed_known, (float(head[lifting].min()), float(head.max())), (float(x.min()), float(x.max())),
        float(flow.max()), float(power.max()), _spread(table, core, x, extra_power_share),
    )  # fmt: skip
    return _with_flow_of_power(model, table)


def _rounding(values: Floats) -> float:
    """Standard uncertainty from the last digit that the column uses: its step over the root of 12."""
    for digits in range(-3, 4):
        if np.allclose(values, np.round(values, digits), rtol=0, atol=1e-9):
            return float(10.0**-digits / np.sqrt(12))
    return 0.0


def _std(residual: Floats, rows: int, values: Floats, between: float) -> float:
    """Root mean square with the degrees of freedom that about five fitted terms leave, rounding, doubt between rows."""
    free = max(rows - 5, 0.2 * rows)
    misfit = float(np.sqrt(np.nansum(residual**2) / free))
    return float(np.sqrt(misfit**2 + _rounding(values) ** 2 + (between * values.max()) ** 2))


def _spread(table: PumpTable, core, x: Floats, extra_power_share: float) -> Spread:
    head, flow, power = table.head_m, table.flow_m3_h, table.power_w
    rows, power_top = len(x), float(power.max())
    sold = tolerance(power_top)
    efficiency_share = -sold.efficiency_pct / 100 / COVERAGE
    few = BETWEEN_ROWS / np.sqrt(rows)
    return Spread(
        flow_of_power_m3_h=0.0,
        flow_of_speed_m3_h=_std(core.flow(x, head) - flow, rows, flow, few),
        power_w=_std(core.power_at_head(x, head) - power, rows, power, few),
        head_m=_std(core.head(x, flow) - head, rows, head, few),
        steep_power_w=float(0.5 * few * power.max()),
        steep_head_m=float(0.5 * few * head.max()),
        tolerance_flow=sold.flow_pct[1] / 100 / COVERAGE,
        tolerance_head=sold.head_pct[1] / 100 / COVERAGE,
        tolerance_power=float(np.hypot(efficiency_share, extra_power_share)),
    )


def _with_flow_of_power(model: PumpModel, table: PumpTable) -> PumpModel:
    """The same model with the misfit of flow(power, head), which needs the model's own inverse."""
    got = model.flow_of_power(table.power_w, table.head_m)
    few = BETWEEN_ROWS / np.sqrt(len(got))
    spread = replace(model.spread, flow_of_power_m3_h=_std(got - table.flow_m3_h, len(got), table.flow_m3_h, few))
    return replace(model, spread=spread)
