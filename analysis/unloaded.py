"""Where speed against the datasheet says nothing of the load: rows in which the motor takes far less than the sun offers.

Flow: rows, expected.py -> HERE -> look.py.
A motor at its fastest takes what its load asks for, whatever the sun does; an array under cloud wanders. A rotor with no lift upon
it is known by the array's voltage at once. An impeller may lift nothing in weak sun, and under cloud cold cells and a drive at its
least speed look alike: it takes a fall of the load with which the voltage rose, two hours of flat power, or power that stayed
while the sun moved. Uses no row after the one judged. Never: judgement of causes.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.expected import Expected
from analysis.plant import Plant
from analysis.rows import Floats, Times
from analysis.solar_days import MINUTE_MS

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

UNLOADED = 0.6  # of the ceiling: a pump that lifts at its fastest takes more (common practice, no source)
FAST = 0.85  # of the rated speed
PLENTY = 1.5  # offered over taken
BLOCK_MS, BLOCKS, MOST_BLOCKS = 30 * MINUTE_MS, 4, 16
WHOLE = 0.8  # of a block that must be seen
FLAT, FLAT_NOISE = 0.02, 0.06  # largest over smallest block mean: of the load itself, and of a row's noise
NEAR = 0.15  # of the blocks' mean: the row still stands there
SUN_MOVED = 1.35  # largest over smallest offer meanwhile: a pump turned down to a share of the sun's power follows it
NO_LIFT = 1.2  # times the power at which lifting begins: nearer to it a sound impeller may bring nothing
FELL = 1.3  # power before over now
FREED = 1.12  # voltage now over before: under a cloud it falls, but for what cells cool and lines no longer lose
CALM, CALM_A = (
    0.03,
    0.06,
)  # of the power, and A: nothing changes an idle motor's load, but currents are read in steps of 0.1 A
STAYS, CLIMBS_MS = 0.97, 8 * MINUTE_MS  # of the voltage then; a drive that a cloud surprised has climbed again by then
LONG_MS, ROWS_BACK = 20 * MINUTE_MS, 3
OF_SUN = 0.5  # of what the sun would lift: the clear sky is only supposed, and the pump may have been turned down
OF_LEAST = 0.5  # of the flow in proportion to power, below the table's least
SURELY = 0.7


def unloaded_rows(
    plant: Plant, time_ms: Times, day: Whole, dt_h: Floats, expected: Expected, power: Floats, voltage: Floats, speed: Floats,
    turning: Flags, held: Flags,
) -> Flags:  # fmt: skip
    """Rows at a load far below the sun's. bool[n]"""
    none = np.zeros(len(time_ms), bool)
    if plant.pump.speed_known and plant.has & {"motor_speed_rpm", "drive_frequency_hz"}:
        return none
    with np.errstate(invalid="ignore"):
        low = turning & (power < UNLOADED * plant.ceiling_w)
        plenty = low & (held | (np.isnan(voltage) & (expected.mpp_power_w > PLENTY * power)))
        lifts = none | plant.helical | (power > NO_LIFT * plant.lift_power_w)
    if not low.any():
        return none
    of_half_hours = _Blocks(BLOCK_MS, time_ms, day, dt_h, power, expected.mpp_power_w, plenty)
    found = of_half_hours.flat(power, plenty & lifts) | _fast(plant, speed, power, low)
    if plant.helical:
        return found | (plenty & held)
    if (plenty & ~lifts).any():
        found |= of_half_hours.apart_from_sun(power, plenty & ~lifts)
        found |= _let_go(time_ms, day, power, voltage, turning, plenty & held)
    return found


def _fast(plant: Plant, speed: Floats, power: Floats, low: Flags) -> Flags:
    """Rows in which the motor turns near its rating while it takes little for that speed; the datasheet's table knows no speed."""
    rated = plant.facts.motor.rated_speed_rpm
    if not rated:
        return np.zeros(len(speed), bool)
    with np.errstate(invalid="ignore"):
        share = speed / rated
        return low & (share > FAST) & (power < UNLOADED * plant.full_power_w * share ** (1 if plant.helical else 3))


class _Blocks:
    """Equal stretches of the clock, by day. Sums are of whole numbers (0.01 W); only blocks that are over are asked of."""

    def __init__(
        self, block_ms: int, time_ms: Times, day: Whole, dt_h: Floats, power: Floats, offer: Floats, plenty: Flags
    ) -> None:
        block = time_ms // block_ms
        starts = np.flatnonzero(np.concatenate([[True], (block[1:] != block[:-1]) | (day[1:] != day[:-1])]))
        count = np.diff(np.append(starts, len(block)))
        seconds = np.where(plenty, np.rint(dt_h * 3600.0), 0.0).astype(np.int64)
        self.time_ms, self.day, self.plenty = time_ms, day, plenty
        self.row, self.count = np.repeat(np.arange(len(starts)), count), count
        self.number, self.of_day = block[starts], day[starts]
        self.mean = np.maximum(_sums(power, starts) / count, 1.0)
        self.offer = np.maximum(_sums(offer, starts) / count, 1.0)
        self.most = np.maximum.reduceat(np.nan_to_num(power), starts)
        self.whole = np.logical_and.reduceat(plenty, starts) & (
            np.add.reduceat(seconds, starts) >= WHOLE * block_ms / 1000
        )
        self.holes = np.concatenate([[0], np.cumsum(~self.whole)])
        self.noise = FLAT + FLAT_NOISE / np.sqrt(count)

    def _behind(self, first: int, last: int) -> tuple[Whole, Flags]:
        """The blocks from `first` to `last` before each: index of the earliest, and whether all are whole and follow one another."""
        every = np.arange(len(self.number))
        early = np.maximum(every - last, 0)
        good = (every >= last) & (self.number - self.number[early] == last) & (self.of_day == self.of_day[early])
        return early, good & (self.holes[np.maximum(every - first + 1, 0)] == self.holes[early])

    def _stands(self, power: Floats, blocks: Flags) -> Flags:
        """Rows in such blocks that stand where the block before stood."""
        level = np.concatenate([[1.0], self.mean[:-1]])[self.row]
        with np.errstate(invalid="ignore"):
            return blocks[self.row] & (np.abs(power - level) < NEAR * level)

    def flat(self, power: Floats, rows: Flags) -> Flags:
        """After two hours of one power."""
        early, good = self._behind(1, BLOCKS)
        window = np.minimum(early[:, None] + np.arange(BLOCKS), len(early) - 1)
        means, noise = self.mean[window], self.noise[window].max(axis=1)
        return rows & self._stands(power, good & (means.max(axis=1) < means.min(axis=1) * (1.0 + noise)))

    def apart_from_sun(self, power: Floats, rows: Flags) -> Flags:
        """After a stretch of one power while the sun's offer moved."""
        every = np.arange(len(self.number))
        before = np.maximum(every - 1, 0)
        most, least, noise = self.mean[before].copy(), self.mean[before].copy(), self.noise[before].copy()
        high, low = self.offer[before].copy(), self.offer[before].copy()
        found = np.zeros(len(every), bool)
        for last in range(2, MOST_BLOCKS + 1):
            early, good = self._behind(1, last)
            most, least = np.maximum(most, self.mean[early]), np.minimum(least, self.mean[early])
            high, low = np.maximum(high, self.offer[early]), np.minimum(low, self.offer[early])
            noise = np.maximum(noise, self.noise[early])
            if last >= BLOCKS:
                found |= good & (most < least * (1.0 + noise)) & (high > low * SUN_MOVED)
        return rows & self._stands(power, found)


def _let_go(time_ms: Times, day: Whole, power: Floats, voltage: Floats, turning: Flags, rows: Flags) -> Flags:
    """Rows that stand where the power fell while the array's voltage rose: the load let go, where a cloud would have lowered both.

    A drive that a cloud surprised falls to its least speed likewise, but climbs again within minutes.
    """
    if not rows.any():
        return rows
    same = np.concatenate([[False], rows[1:] & rows[:-1] & (day[1:] == day[:-1]) & (np.diff(time_ms) <= LONG_MS)])
    with np.errstate(invalid="ignore"):
        same[1:] &= np.abs(power[1:] - power[:-1]) < CALM * power[:-1] + CALM_A * voltage[:-1]
    starts = np.flatnonzero(~same)
    start = np.repeat(starts, np.diff(starts, append=len(rows)))
    with np.errstate(invalid="ignore"):
        left = np.abs(power - power[start]) > CALM * power[start] + CALM_A * voltage[start]
        left |= (voltage < STAYS * voltage[start]) | ~rows
    gone = np.cumsum(left)
    fell = np.zeros(len(starts), bool)
    for back in range(1, ROWS_BACK + 1):
        now = starts[starts >= back]
        apart = time_ms[now] - time_ms[now - back]
        with np.errstate(invalid="ignore"):
            let = (power[now] * FELL < power[now - back]) & (voltage[now] > FREED * voltage[now - back])
        fell[starts >= back] |= let & turning[now - back] & (day[now] == day[now - back]) & (apart <= LONG_MS)
    stands = rows & np.repeat(fell, np.diff(starts, append=len(rows))) & (gone == gone[start])
    return stands & (time_ms - time_ms[start] >= CLIMBS_MS)


def _sums(values: Floats, starts: Whole) -> Floats:
    return np.add.reduceat(np.rint(np.nan_to_num(values) * 100.0).astype(np.int64), starts) / 100.0


def expect_more(
    plant: Plant, expected: Expected, power: Floats, unloaded: Flags, should: Floats, surely: Floats
) -> None:
    """What a sound pump would lift there at the least, even if it had been turned down. Changes `should` and `surely`.

    A rotor lifts in proportion to the power that it takes; an impeller below the speed at which lifting begins lifts nothing, but
    nobody leaves it there: then it is the sun's offer that counts.
    """
    at = np.flatnonzero(unloaded)
    if not len(at):
        return
    if plant.helical:
        row = min(plant.facts.pump.curve, key=lambda point: (point.power_w, point.flow_m3_h))
        least = OF_LEAST * row.flow_m3_h * np.minimum(power[at] / row.power_w, 1.0)
    else:
        below = power[at] < NO_LIFT * plant.lift_power_w
        least = np.where(below, OF_SUN * np.nan_to_num(expected.flow_of_sun_m3_h[at]), 0.0)
    should[at] = np.maximum(should[at], least)
    surely[at] = np.maximum(surely[at], SURELY * should[at])
