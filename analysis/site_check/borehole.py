"""The borehole: levels, pump, probe and yield against one another.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

from analysis.site_check.remark import Checked, Remarks

YIELD_UNUSED = 15.0
"""Tested yield over what the pump could lift at most: a yield in m3/day comes out 24 times too large."""
SUBMERGED_LEAST_M = 2.0
"""Water over the intake at the deepest drawdown: several metres are customary (common practice)."""
PROBE_ABOVE_M = (0.2, 5.0)
"""Probe above the intake: 0.2 to 1 m above the pump's outlet is customary, the pump itself is one to three metres long."""
DRAWN_MOST = 2.0
"""Of the water over the pump: a test that drew the level so far below it was no test of this well (common practice, no source)."""
CAUTION = "Lifting a pump is work for a crew with the right hoist; isolate and lock the supply first."


def levels(site: Checked) -> Remarks:
    """Setting depth, probe, resting level, in the order of gravity."""
    well, setting = site.facts.well, site.facts.pump.setting_depth_m
    if setting <= well.static_level_m:
        yield site.wrong(
            "pump.setting_depth_m", f"{setting:g} m hangs above the resting water at {well.static_level_m:g} m: it would run dry",
            "both are depths from the datum at the wellhead; are they exchanged, or is one in feet?",
        )  # fmt: skip
        return
    season = (well.seasonal_range_m or 0.0) / 2.0
    if setting - well.static_level_m - season < SUBMERGED_LEAST_M:
        yield site.wrong(
            "pump.setting_depth_m", f"at rest in the dry season only {setting - well.static_level_m - season:.1f} m of water stand over the pump",
            f"hang the pump deeper where the borehole allows. {CAUTION}",
        )  # fmt: skip
    if well.probe_depth_m is None:
        if "low_level_probe_wet" in site.facts.sensors.channels:
            yield site.doubtful(
                "well.probe_depth_m", "a low-level probe is fitted, its depth is not stated",
                "measure it along the cable when the pump is next lifted, and write it down",
            )  # fmt: skip
        return
    above = setting - well.probe_depth_m
    if above <= 0:
        yield site.wrong(
            "well.probe_depth_m", f"{well.probe_depth_m:g} m lies below the pump's intake at {setting:g} m: it cannot save the pump",
            f"the probe belongs above the pump's outlet, 0.2 to 1 m. {CAUTION}",
        )  # fmt: skip
    elif above < PROBE_ABOVE_M[0]:
        yield site.wrong(
            "well.probe_depth_m", f"only {above:.2f} m above the intake: that is below the pump's outlet",
            f"the probe belongs above the pump's outlet, 0.2 to 1 m. {CAUTION}",
        )  # fmt: skip
    elif well.probe_depth_m <= well.static_level_m:
        yield site.wrong(
            "well.probe_depth_m", f"{well.probe_depth_m:g} m hangs above the resting water at {well.static_level_m:g} m: always dry",
            f"the probe belongs just above the pump. {CAUTION}",
        )  # fmt: skip
    elif above > PROBE_ABOVE_M[1]:
        yield site.note(
            "well.probe_depth_m", f"{above:.1f} m above the intake: it stops the pump with that much water unused",
            "0.2 to 1 m above the pump's outlet is customary",
        )  # fmt: skip


def drawdown_and_yield(site: Checked) -> Remarks:
    """A clear noon's flow against the tested yield, and the level that it draws down to."""
    well, setting, most = site.facts.well, site.facts.pump.setting_depth_m, site.flow_most_m3_h
    if setting <= well.static_level_m:
        return
    yield from _yield_beyond_use(site)
    yield from _log_of_the_test(site)
    if most <= 0:
        return
    share = most / well.tested_yield_m3_h
    what = f"a clear noon pumps {most:.1f} m3/h, {share:.0%} of the tested {well.tested_yield_m3_h:g} m3/h"
    fix = "turn controller.speed_limit_pct down, or have the well tested at this flow; 60 to 80 % of the tested yield is customary"
    if share > 1.25:
        yield site.wrong("well.tested_yield_m3_h", what, fix)
    elif share > 1.05:
        yield site.doubtful("well.tested_yield_m3_h", what, fix)
    elif share > 0.8:
        yield site.note("well.tested_yield_m3_h", what, fix)
    season = (well.seasonal_range_m or 0.0) / 2.0
    deepest = float(site.model.curve.level_m(most)) + season
    left = setting - deepest
    what = f"a clear noon draws the level down to {deepest:.1f} m, {left:.1f} m above the intake at {setting:g} m"
    if left < 0:
        what = f"a clear noon would draw the level down to {deepest:.1f} m, below the intake at {setting:g} m: it draws air"
        yield site.wrong("pump.setting_depth_m", what, f"hang the pump deeper or turn the speed limit down. {CAUTION}")
    elif left < SUBMERGED_LEAST_M:
        yield site.doubtful(
            "pump.setting_depth_m", what, f"hang the pump deeper or turn the speed limit down. {CAUTION}"
        )
    if well.probe_depth_m is not None and left >= 0 and well.static_level_m < well.probe_depth_m < deepest:
        yield site.wrong(
            "well.probe_depth_m", f"the level falls to {deepest:.1f} m on a clear noon, past the probe at {well.probe_depth_m:g} m: it stops daily",
            "turn the speed limit down, or set probe and pump deeper",
        )  # fmt: skip
    if (
        most * well.drawdown_linear_m_per_m3_h + most**2 * well.drawdown_quadratic_m_per_m3_h2
        > 0.9 * (setting - well.static_level_m + 1e-9)
        and left >= SUBMERGED_LEAST_M
    ):
        yield site.note("well.drawdown_linear_m_per_m3_h", what, "little is left for a dry year")


def _log_of_the_test(site: Checked) -> Remarks:
    """The drawdown of the driller's log at the yield of the same log, or at what this pump could lift where that is less."""
    well, setting = site.facts.well, site.facts.pump.setting_depth_m
    flow = min(well.tested_yield_m3_h, site.free_flow_m3_h)
    drawn = well.drawdown_linear_m_per_m3_h * flow + well.drawdown_quadratic_m_per_m3_h2 * flow**2
    if drawn > DRAWN_MOST * (setting - well.static_level_m):
        yield site.doubtful(
            "well.drawdown_linear_m_per_m3_h",
            f"at {flow:.3g} m3/h, no more than was tested, the level would fall by {drawn:.0f} m, and only {setting - well.static_level_m:.0f} m of water "
            "stand over the pump",
            "s = B Q + C Q2 with Q in m3/h: is B from a log in litres a minute or a second, or the tested yield in another unit?",
        )  # fmt: skip


def _yield_beyond_use(site: Checked) -> Remarks:
    """A yield by far larger than the pump's flow: a strong well, or another unit. The drawdown that goes with it tells them apart."""
    well, tested, free = (
        site.facts.well,
        site.facts.well.tested_yield_m3_h,
        max(site.free_flow_m3_h, site.flow_most_m3_h),
    )
    if free <= 0 or tested < YIELD_UNUSED * free:
        return
    what = f"{tested:g} m3/h is {tested / free:.0f} times what the pump can lift, {free:.1f} m3/h"
    fix = f"is it in m3/day? {tested:g} m3/day are {tested / 24.0:.3g} m3/h"
    level = float(site.model.curve.level_m(tested))
    if level > site.facts.pump.setting_depth_m:
        what += f", and by the drawdown stated would draw the level from {well.static_level_m:g} to {level:.0f} m, below the pump"
        yield site.doubtful("well.tested_yield_m3_h", what, fix)
    else:
        yield site.note("well.tested_yield_m3_h", what, fix)
