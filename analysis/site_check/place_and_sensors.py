"""Where the site is, and whether what is fitted can watch over it.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

from datetime import datetime
from zoneinfo import ZoneInfo

from analysis.site_check.remark import Checked, Remarks

CLOCK_OFF_H = 3.0
"""No land keeps a clock further from its sun than this (western China comes close)."""


def place(site: Checked) -> Remarks:
    """Longitude against time zone; temperatures the right way round."""
    where = site.facts.site
    offset = datetime(2026, 1, 1, tzinfo=ZoneInfo(where.timezone)).utcoffset()
    clock_h = (offset.total_seconds() if offset else 0.0) / 3600.0
    off = (clock_h - where.longitude_deg / 15.0 + 12.0) % 24.0 - 12.0
    if where.timezone != "UTC" and abs(off) > CLOCK_OFF_H:
        yield site.doubtful(
            "site.longitude_deg", f"{where.longitude_deg:g} deg lies {abs(off):.0f} h of sun away from {where.timezone}",
            "east is positive; are latitude and longitude exchanged?",
        )  # fmt: skip
    if (
        where.lowest_ambient_c is not None
        and where.highest_ambient_c is not None
        and where.lowest_ambient_c >= where.highest_ambient_c
    ):
        yield site.wrong("site.lowest_ambient_c", "not below highest_ambient_c", "are the two exchanged?")


def sensors(site: Checked) -> Remarks:
    """What the fitted channels cannot tell."""
    have = set(site.facts.sensors.channels)
    power = "input_power_w" in have or {"pv_voltage_v", "pv_current_a"} <= have
    water = bool(have & {"volume_m3", "flow_m3_h"})
    if not (power or water):
        yield site.doubtful(
            "sensors.channels", "neither power nor water is measured: only silence can be told from running",
            "add pv_voltage_v and pv_current_a, or volume_m3",
        )  # fmt: skip
    elif not water:
        yield site.note(
            "sensors.channels",
            "no water meter: loss of water shows only through power and speed",
            "a pulse meter tells most",
        )
    elif not power:
        yield site.note(
            "sensors.channels",
            "no power is measured: sun, array and pump cannot be told apart",
            "array voltage and current tell most",
        )
    step = site.facts.sensors.meter_step_m3
    if "volume_m3" in have and step is None:
        yield site.note(
            "sensors.meter_step_m3",
            "not stated: the meter's coarseness has to be guessed",
            "write the least step, e.g. 0.01 for 10 L a pulse",
        )
    elif step and site.flow_most_m3_h and step > 0.5 * site.flow_most_m3_h:
        yield site.doubtful(
            "sensors.meter_step_m3", f"{step:g} m3 a step is more than half an hour of full flow", "is it in litres? it is m3 here",
        )  # fmt: skip
    if "low_level_probe_wet" not in have:
        yield site.note(
            "sensors.channels",
            "no low-level probe is read: dry running shows only after the pump has gasped",
            "read the probe where one is fitted",
        )
