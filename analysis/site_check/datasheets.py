"""Datasheets against themselves: numbers that no module, pump or motor can have together. Units slipped show here.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

import re

from analysis.physics.hydraulic_power import hydraulic_power_w
from analysis.site_check.remark import Checked, Remark, Remarks

EFFICIENCY_MOST, EFFICIENCY_LEAST = 0.80, 0.20
"""Wire to water of a sound borehole pump at its best lies between (common practice, no source)."""


def module_sheet(site: Checked) -> Remarks:
    """Power, voltage and current at maximum; fill factor; coefficients."""
    module, key = site.facts.array.module, "array.module"
    product = module.v_mp_v * module.i_mp_a
    if module.v_mp_v >= module.v_oc_v:
        yield site.wrong(
            f"{key}.v_mp_v", f"{module.v_mp_v:g} V is not below v_oc_v = {module.v_oc_v:g} V", "are the two exchanged?"
        )
    if module.i_mp_a >= module.i_sc_a:
        yield site.wrong(
            f"{key}.i_mp_a", f"{module.i_mp_a:g} A is not below i_sc_a = {module.i_sc_a:g} A", "are the two exchanged?"
        )
    if abs(product / module.p_mp_w - 1.0) > 0.05:
        yield site.wrong(
            f"{key}.p_mp_w", f"v_mp_v times i_mp_a is {product:.1f} W, p_mp_w says {module.p_mp_w:g} W",
            "take all three from the same column of the datasheet (standard test conditions)",
        )  # fmt: skip
    fill = module.p_mp_w / (module.v_oc_v * module.i_sc_a)
    if not 0.60 <= fill <= 0.86:
        yield site.doubtful(
            f"{key}.v_oc_v", f"fill factor {fill:.2f}: modules have 0.65 to 0.85",
            "check v_oc_v, i_sc_a and p_mp_w against the datasheet",
        )  # fmt: skip
    for name, low, high in (("temp_coeff_p_mp_pct_c", -0.6, -0.2), ("temp_coeff_v_oc_pct_c", -0.45, -0.15)):
        value = getattr(module, name)
        if not low <= value <= high:
            yield site.doubtful(
                f"{key}.{name}", f"{value:g} %/deg C is unusual: crystalline modules have {low:g} to {high:g}",
                "in percent per degree, negative; is it in 1/deg C, or in V or W per degree?",
            )  # fmt: skip


def pump_table(site: Checked) -> Remarks:
    """Efficiency row by row; whether the rows make a pump at all."""
    best, impossible = 0.0, []
    for number, row in enumerate(site.facts.pump.curve, 1):
        if row.power_w <= 0 or row.flow_m3_h <= 0 or row.head_m <= 0:
            continue
        efficiency = float(hydraulic_power_w(row.flow_m3_h, row.head_m) / row.power_w)
        if efficiency > EFFICIENCY_MOST:
            impossible.append(number)
        best = max(best, efficiency)
    if impossible:
        yield _impossible(site, impossible)
    if 0.0 < best < EFFICIENCY_LEAST:
        yield site.doubtful(
            "pump.curve",
            f"at its best row only {best:.0%} of the power goes into the water",
            "is the flow in L/s, or the power of another column? It is m3/h, m and W here",
        )
    try:
        _ = site.model
    except ValueError as error:
        if impossible:
            return  # said above, row by row
        named = re.fullmatch(r"(curve(?:\[\d+\])?(?:\.\w+)?): (.*)", str(error))
        key, what = (f"pump.{named[1]}", named[2]) if named else ("pump.curve", str(error))
        yield site.wrong(key, what, "correct the table from the datasheet")


def _impossible(site: Checked, rows: list[int]) -> Remark:
    """Rows that no pump has, in one remark: a unit that slipped slips in a whole column."""
    first = site.facts.pump.curve[rows[0] - 1]
    efficiency = hydraulic_power_w(first.flow_m3_h, first.head_m) / first.power_w
    what = f"{first.flow_m3_h:g} m3/h at {first.head_m:g} m on {first.power_w:g} W would be {efficiency:.0%} efficient"
    fix = "is the flow in L/min or L/s, the head in feet, or the power in kW or hp? It is m3/h, m and W here"
    if len(rows) == 1:
        return site.wrong(f"pump.curve[{rows[0]}].flow_m3_h", what, fix)
    which = "every row" if len(rows) == len(site.facts.pump.curve) else f"rows {', '.join(map(str, rows))}"
    return site.wrong("pump.curve", f"{which}: more than any pump gives; row {rows[0]}: {what}", fix)


def motor_plate(site: Checked) -> Remarks:
    """Rated current and speed against the pump's table."""
    motor, curve = site.facts.motor, site.facts.pump.curve
    speeds = [row.speed_rpm for row in curve if row.speed_rpm]
    if motor.rated_speed_rpm and speeds and not 0.8 <= max(speeds) / motor.rated_speed_rpm <= 1.25:
        yield site.doubtful(
            "motor.rated_speed_rpm", f"{motor.rated_speed_rpm:g} 1/min, but the pump's table runs to {max(speeds):g} 1/min",
            "take both from the same pump; is the speed in 1/s or in Hz?",
        )  # fmt: skip
    full = max(row.power_w for row in curve)
    if full > 1.15 * site.facts.controller.max_power_w:
        yield site.doubtful(
            "controller.max_power_w", f"the pump's table asks for {full:.0f} W, the controller gives at most {site.facts.controller.max_power_w:.0f} W",
            "a larger controller, or the table's rows that it can reach; are W and kW mixed?",
        )  # fmt: skip
