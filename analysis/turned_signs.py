"""Is a column read the wrong way round? A clamp put on backwards tells what flows as below 0, all day and every day.

Flow: review_files.py (rows as read, site facts) -> HERE -> refusals: turn the sign.
Most days must say so, in the first half of the readings as in the second; a zero that is off by a little says nothing.
Never: converting by guess.
"""

import numpy as np

from analysis.rows import Rows
from analysis.site_fits import array_w, by_day, mostly
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

TOP = 0.95  # of a day's values: a spark stays above
SHARE = 0.1  # of what the site gives: more than a zero that is off, or what a full tank sends back (common practice, no source)
OTHER_WAY = 0.2  # of the farthest value: what is read the right way round beside it
DAYS_MIN = 3


def judge_signs(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """A problem for each column that lies below 0 where what it measures cannot."""
    array = facts.array
    looks = (
        ("pv_current_a", array.strings * array.module.i_sc_a),
        ("input_power_w", array_w(facts)),
        ("flow_m3_h", facts.pump.largest_flow_m3_h),
        ("motor_current_a", facts.motor.rated_current_a or array.strings * array.module.i_sc_a),
        ("irradiance_w_m2", 1000.0),
    )
    problems = []
    for name, most in looks:
        found = rows.values.get(name)
        if found is None or not (found < 0).any():
            continue
        known = np.isfinite(found)
        below, above = (
            by_day(facts, rows.time_ms, np.where(known, np.maximum(side, 0.0), np.nan), TOP, found)
            for side in (-found, found)
        )
        turned = (below > SHARE * most) & (above < OTHER_WAY * below)
        if len(below) < DAYS_MIN or not mostly(turned):
            continue
        wrong = f"on most days it lies below 0, as far as {-float(np.median(below)):.3g}, and hardly ever above: its sign is turned"
        fix = "multiply by -1, and turn the sensor round; if the sensor is broken, leave its column out"
        problems.append(Problem(file, f"column {name}", wrong, fix))
    return problems
