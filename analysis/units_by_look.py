"""Does a column look as if it were in another unit than its name says? Judged by what the site can do at all.

Flow: season.py (rows as read, site facts) -> HERE -> refusal with the likely unit.
The middle value of a whole file is asked, and far beyond what a fault can do: a sick pump gives less than its curve, a leaking
pipe no pressure of tens of bars. So one sensor that goes wrong for weeks refuses nothing.
Never: converting by guess.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.rows import Rows
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

VALUES_MIN = 20
BAR_PER_M = 0.0980665  # 1000 kg/m3 x 9.80665 m/s2 / 1e5 Pa


@dataclass(frozen=True)
class Look:
    """`most`: what the site can give, in the channel's unit; beyond `far` times that the unit is doubted. `units`: by factor."""

    channel: str
    most: Callable[[SiteFacts], float]
    far: float
    units: tuple[tuple[float, str], ...]


def _string_v(facts: SiteFacts) -> float:
    return facts.array.modules_in_series * facts.array.module.v_oc_v


def _array_a(facts: SiteFacts) -> float:
    return facts.array.strings * facts.array.module.i_sc_a


def _array_w(facts: SiteFacts) -> float:
    return facts.array.strings * facts.array.modules_in_series * facts.array.module.p_mp_w


LOOKS = (
    Look("flow_m3_h", lambda facts: max(row.flow_m3_h for row in facts.pump.curve), 5, ((16.667, "L/min"), (1000, "L/h"), (24, "m3/d"))),
    Look("water_level_m", lambda facts: facts.pump.setting_depth_m, 2.5, ((3.281, "feet"), (100, "cm"), (1000, "mm"))),
    Look(
        "discharge_pressure_bar",
        lambda facts: max(row.head_m for row in facts.pump.curve) * BAR_PER_M,
        4,
        ((14.5, "psi"), (10.2, "metres of water"), (100, "kPa"), (1e5, "Pa")),
    ),
    Look("pv_voltage_v", _string_v, 4, ((10, "tenths of a volt"), (1000, "mV"))),
    Look("pv_current_a", _array_a, 4, ((10, "tenths of an ampere"), (100, "hundredths of an ampere"), (1000, "mA"))),
    Look("input_power_w", _array_w, 4, ((10, "tenths of a watt"), (1000, "mW"))),
    Look("irradiance_w_m2", lambda _facts: 1400.0, 1.2, ((10, "tenths of W/m2"), (3.6, "kJ/(m2 h)"))),
)  # fmt: skip


def judge_units(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """A problem for each column that looks as if it were in another unit."""
    problems = []
    for look in LOOKS:
        found = rows.values.get(look.channel)
        above = found[found > 0] if found is not None else np.empty(0)
        most = look.most(facts)
        if len(above) >= VALUES_MIN and (middle := float(np.median(above))) > look.far * most:
            problems.append(_problem(file, look, middle, most))
    sun = rows.values.get("irradiance_w_m2")
    lit = sun[sun > 0] if sun is not None else np.empty(0)
    if len(lit) >= 10 * VALUES_MIN and 0.2 < float(lit.max()) < 2.0:
        wrong = f"never above {lit.max():.2f}: it looks like kW/m2"
        problems.append(Problem(file, "column irradiance_w_m2", wrong, "multiply by 1000"))
    return problems


def _problem(file: str, look: Look, middle: float, most: float) -> Problem:
    usual = 0.5 * most  # the middle of a running pump's values lies somewhere there
    factor, unit = min(look.units, key=lambda candidate: abs(np.log(middle / candidate[0] / usual)))
    return Problem(
        file,
        f"column {look.channel}",
        f"the middle value is {middle:.4g}, but this site gives {most:.3g} at most: it looks like {unit}",
        f"divide by {factor:g}, or correct the site file",
    )
