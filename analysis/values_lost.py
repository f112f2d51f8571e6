"""Channels that lose their values in some of the rows in which their fellows are read: a loose plug, a register that reads all ones.

Flow: look.py (columns; what no instrument can honestly say is null by then), memory.py -> HERE -> causes/sensor_fault.py, close.py.
Never: gaps of all channels (causes/silent.py); a value taken for another's.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.look import Columns
from analysis.memory import Memory
from logger.record.channels import CHANNELS
from logger.record.site_facts import SiteFacts

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class LostLimits:
    """Common practice, no source."""

    least_h: float = 1.0  # without a value, in a day
    least_rows: int = 8
    share: float = 0.08  # of the rows asked: a bus drops a row in a hundred
    alone: float = 2.0  # times the rows that any sound fellow loses meanwhile, and
    beyond: int = 4  # so many more: else it is the wire of all, which drops values by chance
    sound: float = 0.02  # on its best day so far: a channel asked less often than its fellows is null between
    never_days: int = 3  # a channel that was fitted and never spoke: somebody may still be at it on the first days
    never_h: float = 3.0


LIMITS = LostLimits()
BRIGHT_W_M2 = 150.0  # some controllers fall asleep in the dusk
OF_THE_MOTOR = frozenset({"motor_current_a", "motor_speed_rpm", "motor_voltage_v", "drive_frequency_hz"})
"""Some controllers tell them while they drive, and nothing at rest; nor does every flow meter tell of a pipe that stands."""
WHILE_RUNNING = OF_THE_MOTOR | {"flow_m3_h"}
CONTROLLER = OF_THE_MOTOR | {"pv_voltage_v", "pv_current_a", "input_power_w", "controller_temp_c", "motor_running"}
"""Read over one wire: where all of them are missing it is that wire, and no channel of theirs."""
ASKED_NOW_AND_THEN = frozenset({"fault_code", "speed_setting_pct", "switched_on", "volume_m3", "tank_level_m"})
"""Told when they change, on many sites; a register that misses a row tells the water all the same."""
NUMBER = "values lost "
"""Before a channel's name, among the memory's numbers: the least share of a day's rows in which it had no value."""


def judged(facts: SiteFacts) -> tuple[str, ...]:
    """The channels fitted that are asked for in every row, in the order of the table."""
    return _judged(facts.sensors.channels)


@lru_cache(maxsize=256)
def _judged(channels: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(name for name in CHANNELS if name in channels and name not in ASKED_NOW_AND_THEN)


def asked_rows(facts: SiteFacts, seen: Columns, channel: str) -> Flags:
    """Rows in which a channel should have a value, for a fellow of its own wire, or any where none is fitted, has one. bool[n]"""
    asked = (seen.dt_h > 0) & (seen.expected.clear_poa_w_m2 > BRIGHT_W_M2)
    if channel in WHILE_RUNNING:
        asked &= seen.settled
    fitted = [name for name in CHANNELS if name in facts.sensors.channels and name != channel]
    fellows = [name for name in fitted if name in CONTROLLER] if channel in CONTROLLER else []
    spoke = np.zeros(len(seen), bool)
    for name in fellows or fitted:
        spoke |= ~np.isnan(seen.rows[name])
    return asked & spoke


def lost_rows(facts: SiteFacts, seen: Columns, channel: str) -> tuple[Flags, Flags]:
    """Rows in which a channel should have a value, and those of them in which it has none. bool[n] each"""
    asked = asked_rows(facts, seen, channel)
    none = np.isnan(seen.rows[channel])
    if channel == "flow_m3_h":
        none &= np.isnan(seen.rows["volume_m3"])  # one that counts pulses is looked at as the register that it is
    return asked, asked & none


def _others_lost(facts: SiteFacts, seen: Columns, memory: Memory, channel: str, asked: Flags) -> NDArray[np.int64]:
    """By row, the most of these rows that any other channel had lost up to there; of those that on their best day lose hardly any."""
    most = np.zeros(len(seen), np.int64)
    for name in judged(facts):
        sound = memory.numbers.get(NUMBER + name, 1.0) <= LIMITS.sound
        if name == channel or not sound or (name in WHILE_RUNNING and channel not in WHILE_RUNNING):
            continue
        most = np.maximum(most, np.cumsum(asked & np.isnan(seen.rows[name])))
    return most


def shares_lost(facts: SiteFacts, seen: Columns, memory: Memory) -> dict[str, float]:
    """For the memory's numbers, at the close of a day: by channel, the least share lost on any day so far."""
    found = {}
    for channel in judged(facts):
        best = memory.numbers.get(NUMBER + channel)
        if best == 0.0:
            continue
        asked, lost = lost_rows(facts, seen, channel)
        asked_h = float(seen.dt_h[asked].sum())
        if asked_h >= LIMITS.least_h:
            share = float(seen.dt_h[lost].sum()) / asked_h
            found[NUMBER + channel] = share if best is None else min(best, share)
    return found


def loses(
    facts: SiteFacts, seen: Columns, memory: Memory, channel: str, days: int
) -> tuple[NDArray[np.int64], int, float] | None:
    """The rows of a day without a value, the first at which they are enough, and the share that they are; None = too few.

    days: since the site's first reading.
    """
    if not np.isnan(seen.rows[channel].sum()):
        return None
    best = memory.numbers.get(NUMBER + channel)
    never = best == 1.0 and days >= LIMITS.never_days
    if best is None or not (never or best <= LIMITS.sound):
        return None
    asked, lost = lost_rows(facts, seen, channel)
    lost_h, asked_h = (np.cumsum(np.where(rows, seen.dt_h, 0.0)) for rows in (lost, asked))
    if never:
        enough = (lost_h >= LIMITS.never_h) & (lost_h == asked_h)
    else:
        enough = (
            (lost_h >= LIMITS.least_h) & (np.cumsum(lost) >= LIMITS.least_rows) & (lost_h >= LIMITS.share * asked_h)
        )
        most = _others_lost(facts, seen, memory, channel, asked)
        enough &= np.cumsum(lost) >= LIMITS.alone * most + LIMITS.beyond
    at = np.flatnonzero(enough & lost)
    if not len(at):
        return None
    return np.flatnonzero(lost), int(at[0]), float(lost_h[-1] / asked_h[-1])
