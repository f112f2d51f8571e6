"""The pump against the head that it meets: on its table, lifting at all, at a sound velocity, through a sound cable.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

from analysis.physics.cable import WATER_COOLED_C, three_phase_loss_w
from analysis.physics.pipe_friction import velocity_m_s
from analysis.site_check.remark import VELOCITY_MOST_M_S, Checked, Remarks

EDGE = 0.98
"""Of the highest head that anything is known for: nearer than this the flow ends there, not at full power."""
TANK_DAYS_MOST = 60.0
"""A tank holds 2 to 5 days' need (common practice, no source); a dam may hold many more."""
CABLE_WRONG, CABLE_DOUBTFUL, CABLE_NOTE = 0.15, 0.08, 0.05
"""Shares of the pump's power lost in the motor's cable; 3 to 5 % is customary (common practice)."""
VELOCITY_HIGH_M_S, FRICTION_HIGH = 2.0, 0.25
"""0.5 to 1.5 m/s is economical; friction of a tenth of the head is customary (common practice)."""


def head_on_table(site: Checked) -> Remarks:
    """The range of heads from resting lift to full flow, against the table's."""
    curve, rest = site.facts.pump.curve, site.rest_m
    low, high = min(row.head_m for row in curve), max(row.head_m for row in curve)
    what = f"the lift at rest is {rest:.1f} m (static level and outlet height); the pump's table covers {low:g} to {high:g} m"
    fix = "add the datasheet's rows about this head, or check static_level_m, outlet_height_m and head_m (metres?)"
    if _far_off(site):
        yield site.wrong("pump.curve", f"{what}: far off it", fix)
        return
    top = float(site.model.curve.head_m(site.flow_most_m3_h))
    edge = top > EDGE * site.model.pump.head_limits_m[1]
    when = "the flow ends where nothing is known of the pump any more:" if edge else "at full flow"
    if top > 1.05 * high and not site.choked:
        drawn = float(site.model.curve.level_m(site.flow_most_m3_h)) - site.facts.well.static_level_m
        if drawn > 0.5 * (top - rest):
            when = f"the well is drawn down by {drawn:.0f} m, and {when}"
            fix = f"{fix}, and the well's drawdown (metres for each m3/h?)"
        yield site.doubtful("pump.curve", f"{when} the head is {top:.1f} m, above the table's {high:g} m", fix)
    elif rest < 0.95 * low:
        yield site.doubtful("pump.curve", what, fix)


def _far_off(site: Checked) -> bool:
    """Whether the resting lift lies where no answer of the pump's is known."""
    low, high = site.model.pump.head_limits_m
    return not low <= site.rest_m <= high


def lifts_water(site: Checked) -> Remarks:
    """Whether a clear day gives water in every season, and how that suits the tank.

    Quiet where the table does not reach the head, or a pipe chokes the pump: that is said, and is cause enough.
    """
    if _far_off(site) or site.choked:
        return
    dry = [day for day in site.days if day.water_m3 <= 0]
    if len(dry) == len(site.days):
        yield site.wrong(
            "pump.curve", "no water on a clear day of any season: the array's power does not lift to this head",
            "check the array's size, the head and the table's units",
        )  # fmt: skip
    elif dry:
        listed = ", ".join(f"{day.date:%d %B}" for day in dry)
        yield site.doubtful(
            "array", f"no water on a clear day about {listed}", "more modules, or a tilt for that season"
        )
    tank = site.facts.tank.capacity_m3
    best = max((day.water_m3 for day in site.days), default=0.0)
    if best > 0 and tank > TANK_DAYS_MOST * best and not site.starved:
        yield site.doubtful(
            "tank.capacity_m3", f"{tank:g} m3 take {tank / best:.0f} clear days of {best:.0f} m3 to fill", "is it in litres? it is m3 here"
        )  # fmt: skip
    if best > 0 and tank < 0.1 * best:
        yield site.doubtful(
            "tank.capacity_m3", f"{tank:g} m3 fill in under a tenth of a clear day's {best:.0f} m3", "is it in m3?"
        )


def pipes(site: Checked) -> Remarks:
    """Velocity in riser and pipe, friction's share of the head."""
    most, delivery = site.flow_most_m3_h, site.facts.delivery
    for name in site.choked:
        diameter, free = getattr(delivery, f"{name}_inner_diameter_mm"), site.free_flow_m3_h
        speed = float(velocity_m_s(free, diameter / 1000.0))
        yield site.wrong(
            f"delivery.{name}_inner_diameter_mm", f"{diameter:g} mm chokes the pump: its {free:.1f} m3/h at the resting lift would flow at {speed:.1f} m/s",
            "a wider pipe (0.5 to 1.5 m/s is economical); is the diameter inner, and in mm?",
        )  # fmt: skip
    if most > 0 and not site.choked:
        yield from _velocity_and_friction(site)
    if (
        delivery.riser_length_m < 0.8 * site.facts.pump.setting_depth_m
        or delivery.riser_length_m > 1.3 * site.facts.pump.setting_depth_m + 5
    ):
        yield site.doubtful(
            "delivery.riser_length_m", f"{delivery.riser_length_m:g} m of riser for a pump at {site.facts.pump.setting_depth_m:g} m",
            "the riser runs from the pump to the wellhead: about the setting depth",
        )  # fmt: skip
    if delivery.roughness_mm > 0.5:
        yield site.doubtful(
            "delivery.roughness_mm", f"{delivery.roughness_mm:g} mm is rougher than old steel",
            "0.0015 mm plastic, 0.05 to 0.15 mm steel; is it in micrometres?",
        )  # fmt: skip


def _velocity_and_friction(site: Checked) -> Remarks:
    most, delivery = site.flow_most_m3_h, site.facts.delivery
    for name in ("riser", "pipe"):
        diameter = getattr(delivery, f"{name}_inner_diameter_mm")
        if getattr(delivery, f"{name}_length_m") <= 0:
            continue
        speed = float(velocity_m_s(most, diameter / 1000.0))
        key, what = (
            f"delivery.{name}_inner_diameter_mm",
            f"{most:.1f} m3/h through {diameter:g} mm flow at {speed:.1f} m/s",
        )
        fix = "a wider pipe (0.5 to 1.5 m/s is economical); is the diameter inner, and in mm?"
        if speed > VELOCITY_MOST_M_S:
            yield site.wrong(key, what, fix)
        elif speed > VELOCITY_HIGH_M_S:
            yield site.doubtful(key, what, fix)
        elif speed < 0.05 and not site.starved:
            yield site.doubtful(key, what, "is the diameter in mm? sand settles below 0.3 m/s")
    curve = site.model.curve
    friction = float(curve.riser_loss_m(most) + curve.pipe_loss_m(most))
    share = friction / float(curve.head_m(most))
    if share > FRICTION_HIGH:
        yield site.doubtful(
            "delivery", f"friction takes {friction:.1f} m, {share:.0%} of the head at full flow",
            "wider pipes; a tenth is customary. Check diameters, roughness_mm and minor_loss_coefficient",
        )  # fmt: skip


def motor_cable(site: Checked) -> Remarks:
    """Heat in the cable down to the motor."""
    current, cable = site.facts.motor.rated_current_a, site.facts.cable
    if cable.length_m < 0.9 * site.facts.pump.setting_depth_m:
        yield site.doubtful(
            "cable.length_m", f"{cable.length_m:g} m does not reach the pump at {site.facts.pump.setting_depth_m:g} m",
            "the length one way, controller to motor",
        )  # fmt: skip
    if not current or cable.length_m <= 0:
        return
    full = max(row.power_w for row in site.facts.pump.curve)
    loss = float(three_phase_loss_w(current, cable.length_m, cable.conductor_mm2, WATER_COOLED_C))
    if site.facts.motor.kind == "brushed-dc":
        loss *= 2.0 / 3.0  # two conductors instead of three
    share = loss / full
    what = f"{cable.length_m:g} m of {cable.conductor_mm2:g} mm2 turn {share:.0%} of the motor's power into heat at {current:g} A"
    fix = "a thicker conductor; 3 to 5 % is customary. Check conductor_mm2 and motor.rated_current_a"
    if share > CABLE_WRONG:
        yield site.wrong("cable.conductor_mm2", what, fix)
    elif share > CABLE_DOUBTFUL:
        yield site.doubtful("cable.conductor_mm2", what, fix)
    elif share > CABLE_NOTE:
        yield site.note("cable.conductor_mm2", what, fix)
