"""What is held to lie is no measurement: the day's columns without the channels that are known to say nothing of the plant.

Flow: memory.py (open cases), look.py (columns) -> HERE -> pipeline.py, watchers.py.
The lying channel's own watcher goes on looking at what it reads (symptoms.DayView.as_read), so that it is seen to mend.
Never: finding out that a channel lies (causes/sensor_fault.py does).
"""

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from analysis.look import look
from analysis.memory import Memory
from analysis.plant import Plant
from analysis.rows import Rows
from analysis.symptoms import DayView, Episode

MEASURES = frozenset(
    {
        "irradiance_w_m2", "module_temp_c", "ambient_temp_c", "controller_temp_c", "water_level_m", "discharge_pressure_bar", "motor_current_a",
        "motor_speed_rpm", "motor_running", "pv_voltage_v", "pv_current_a", "flow_m3_h", "volume_m3", "fault_code",
        "drive_frequency_hz", "tank_level_m",
    }
)  # fmt: skip
"""Channels that tell of the plant and move nothing in it. Not probe, float and switch: a controller heeds them, whether they lie or not."""
STILL_TRUE = frozenset({"gaps", "never", "dead"})
"""Figures of channels that say nothing at times: what they do say is as good as ever."""
FAMILY = "sensor-fault"


def held_to_lie(memory: Memory) -> frozenset[str]:
    """Channels known at a close to stand still, or to say what cannot be."""
    return frozenset(
        case.channel
        for case in memory.cases
        if case.family == FAMILY and case.ended_ms is None and case.channel in MEASURES
        and not STILL_TRUE.intersection(case.figures)
    )  # fmt: skip


def lies(episode: Episode) -> bool:
    """The episode tells of a channel that is no measurement from then on."""
    return episode.cause == FAMILY and episode.channel in MEASURES and not STILL_TRUE.intersection(episode.whole)


def without(rows: Rows, channels: Collection[str]) -> Rows:
    """The rows as if the channels had never been fitted."""
    return replace(rows, values={name: column for name, column in rows.values.items() if name not in channels})


def asked_beside(names: list[str]) -> list[str]:
    """The watchers to ask on a day without the channels that lie: their own always, for it looks at what they read."""
    return names if FAMILY in names else [*names, FAMILY]


def since(plant: Plant, view: DayView, episodes: Collection[Episode]) -> DayView:
    """The view's day as it looks once `episodes` are told: without what their channels said from the beginning of each on."""
    seen = view.columns
    if seen is None:
        return view
    values = dict(seen.rows.values)
    for episode in episodes:
        if episode.channel in values:
            values[episode.channel] = np.where(seen.time_ms > episode.began_ms, np.nan, values[episode.channel])
    left = look(plant, replace(seen.rows, values=values), range(view.day, view.day + 1))
    told = frozenset(episode.channel for episode in episodes if episode.channel)
    return replace(view, columns=left, raw=view.raw or seen, lies=view.lies | told, running=None, kept={})
