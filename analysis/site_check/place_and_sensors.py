"""Where the site is, and whether what is fitted can watch over it.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from analysis.site_check.remark import Checked, Remarks
from analysis.site_fits import FOOT_M

CLOCK_OFF_H = 2.0
"""Standard time further than this from the sun is rare: western Spain and Argentina keep clocks up to 1.9 h ahead."""
CLOCK_OFF_WIDE_H = {"Asia/Shanghai": 3.2, "PRC": 3.2}
"""One zone for a whole broad country: its far west lies 3.1 h behind its clock."""
CLOCK_FAR_H = 3.2
"""Beyond it no land's clock lies, so that it is sooner the longitude that is wrong than the zone."""
KEPT_EVERYWHERE = frozenset({"UTC", "Etc/UTC", "GMT", "Etc/GMT", "Zulu", "Etc/Zulu"})
"""Clocks that loggers keep wherever they stand."""
HIGHEST_FARM_M = 4500.0
"""Few people keep stock or fields higher (common practice, no source)."""
KM_MOST = HIGHEST_FARM_M / 1000.0
"""A height up to here with a part of a metre may be one in kilometres: above the sea nobody states centimetres, and few decimetres."""
HOTTEST_AT_SEA_C, LAPSE_C_PER_M = 55.0, 0.0065
"""Hottest air ever at the sea's height (records, from memory), and the standard atmosphere's fall with height (ISO 2533)."""


def place(site: Checked) -> Remarks:
    """Longitude against time zone; altitude against people and heat; temperatures the right way round."""
    yield from _clock(site)
    yield from _altitude(site)
    where = site.facts.site
    if (
        where.lowest_ambient_c is not None
        and where.highest_ambient_c is not None
        and where.lowest_ambient_c >= where.highest_ambient_c
    ):
        yield site.wrong("site.lowest_ambient_c", "not below highest_ambient_c", "are the two exchanged?")


def _clock(site: Checked) -> Remarks:
    """Standard time (no summer hour) against the sun at the longitude; a site kept in UTC says nothing of its place."""
    where = site.facts.site
    january = datetime(2026, 1, 1, tzinfo=ZoneInfo(where.timezone))
    standard = (january.utcoffset() or timedelta()) - (january.dst() or timedelta())
    off = (standard.total_seconds() / 3600.0 - where.longitude_deg / 15.0 + 12.0) % 24.0 - 12.0
    if where.timezone in KEPT_EVERYWHERE or abs(off) <= CLOCK_OFF_WIDE_H.get(where.timezone, CLOCK_OFF_H):
        return
    what = f"{where.longitude_deg:g} deg lies {abs(off):.1f} h of sun away from {where.timezone}"
    if abs(off) > CLOCK_FAR_H:
        yield site.doubtful("site.longitude_deg", what, "east is positive; are latitude and longitude exchanged?")
    else:
        sun_h = where.longitude_deg / 15.0
        yield site.doubtful(
            "site.timezone",
            what,
            f"the sun there keeps UTC{sun_h:+.1f} h: name the zone of the place, or mend the longitude",
        )


def _altitude(site: Checked) -> Remarks:
    """Feet for metres: higher than people farm, or hotter than air can be so high. Kilometres: a part of a metre, which on a coast may be meant."""
    where = site.facts.site
    high, hot = where.altitude_m, where.highest_ambient_c
    limit_c = HOTTEST_AT_SEA_C - LAPSE_C_PER_M * high
    fix = f"is it in feet? {high:g} ft are {high * FOOT_M:.0f} m"
    if high > HIGHEST_FARM_M:
        yield site.doubtful("site.altitude_m", f"{high:g} m is higher than people farm", fix)
    elif high > 0 and hot is not None and hot > limit_c:
        yield site.doubtful(
            "site.altitude_m", f"at {high:g} m air does not reach {hot:g} deg C (about {limit_c:.0f} at most)", fix
        )
    elif 0 < high < KM_MOST and round(high) != high:
        yield (site.note if round(10 * high) == 10 * high else site.doubtful)(
            "site.altitude_m", f"{high:g} m above the sea is a height on a coast, more finely than one is known",
            f"is it in kilometres? {high:g} km are {1000.0 * high:.0f} m; on a coast write whole metres",
        )  # fmt: skip


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
