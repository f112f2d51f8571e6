"""String out: one or more strings or modules no longer contribute.

Within the day one side of the array lies a whole fraction lower than it was on the days before, evenly for an hour or two: its current by
whole strings, or its voltage by whole modules, while the other side stays. A cloud that halves the light cools the cells and so raises the
voltage by a few percent (single-diode model); a bad joint loses voltage in proportion to the current. What is less sure is left
to the daily figures, which also go on with what was told here.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from analysis.causes.registry import Advice, CauseFile, beware, register
from analysis.estimates.effects import Effect, shift
from analysis.estimates.electric import hour_bins
from analysis.estimates.own_light import sides_apart, voltage_at_maximum
from analysis.estimates.vector import HOURS, PLACE
from analysis.levels_within_day import Level, between_known, first_between_clouds, no_resistance, running
from analysis.look import Columns
from analysis.memory import Memory
from analysis.physics.cell_temperature import NOCT_AMBIENT_C, NOCT_IRRADIANCE_W_M2
from analysis.plant import Plant, plant_of
from analysis.rows import Floats, middle
from analysis.solar_days import MINUTE_MS, up_to_minute
from analysis.symptoms import DayView, Episode
from analysis.too_few_volts import levels, sentence
from logger.record.site_facts import SiteFacts


@dataclass(frozen=True)
class StringOutLimits:
    """How many strings and modules are thought of; what makes a sight within the day sure.

    most_strings, most_modules: lost at once. believed: share by which the signature may err. least, least_volts: share lost; less is
    left to the daily figures. least_clear: likewise where no sensor tells the light; by less a cloud cools the cells too little to be known by it. ..._min: for how long, at maximum power. whole: share of that time with rows. ragged...: scatter
    of logs within it. ..._stay(s): how far the other side may move. off, off_least: from the whole fraction.
    Scatter and time are common practice, no source.
    """

    most_strings: int = 3
    most_modules: int = 3
    believed: float = 0.06
    learnt_days: float = 4.0
    newest_days: int = 10
    least: float = 0.15
    least_clear: float = 0.45
    least_volts: float = 0.06
    least_volts_clear: float = (
        0.11  # cells known within ten kelvin or so are volts known within 4 % (0.4 %/K; common practice)
    )
    measured_min: float = 75.0
    clear_min: float = 120.0
    volts_min: float = 75.0
    whole: float = 0.85
    rows: int = 5
    ragged: float = 0.03
    ragged_measured: float = 0.06
    ragged_volts: float = 0.03
    volts_stay: float = 0.025
    current_stays: float = 0.06
    off: float = 0.1
    off_least: float = 0.01
    light_w_m2: float = 150.0


LIMITS = StringOutLimits()


def effect(plant: Plant) -> list[Effect]:
    """A whole fraction of the current (strings, parallel), or of the voltage (modules bypassed, series), at once and at all hours."""
    array = plant.facts.array
    found = []
    for out in range(1, min(LIMITS.most_strings, array.strings - 1) + 1):
        lost = -float(np.log(1 - out / array.strings))
        found.append(_form(shift(s=-lost, av=_thought_cooler(plant, lost)), lost, 1.0 / out))
    for out in (1 / 3, 2 / 3, *range(1, min(LIMITS.most_modules, array.modules_in_series - 1) + 1)):
        lost = -float(np.log(1 - out / array.modules_in_series))
        rate = (0.5 if array.strings == 1 else 0.05) / max(out, 1.0)
        light = 0.0 if sides_apart(plant) else -lost
        found.append(_form(shift(s=light, av=-lost), lost, rate))
    return found


OWN_LIGHT_W_M2, FULL_SUN_W_M2 = (425.0, 850.0), 1100.0


def _thought_cooler(plant: Plant, lost: float) -> Floats:
    """What strings out do to the log of voltage over that at maximum power, at low and at high current.

    Where no sensor tells the sun, the array's own current tells light and warmth of the cells: those of the strings that still work
    are as bright and as warm as ever, which is less voltage than of cells under less light.
    """
    if "irradiance_w_m2" in plant.has or not sides_apart(plant):
        return np.zeros(2)
    own = np.array(OWN_LIGHT_W_M2)
    true = np.maximum(np.minimum(own * np.exp(lost), FULL_SUN_W_M2), own)
    rise = (plant.facts.array.module.noct_c - NOCT_AMBIENT_C) / NOCT_IRRADIANCE_W_M2
    volts = (plant.model.array.voltage_at_maximum(light, AIR_C + rise * light) for light in (true, own))
    return np.subtract(*(np.log(side) for side in volts))


AIR_C = 25.0


def _form(direction: np.ndarray, lost: float, rate: float) -> Effect:
    return Effect(
        None, direction, 0.75, 1.25, lost=np.full(3, -lost), loose=LIMITS.believed, sudden=0.95, rate=rate,
        fixed=(1.0,), group="electric",
    )  # fmt: skip


def watch(view: DayView) -> list[Episode]:
    """Judged when: running at maximum power. Shows as: one side of the array a whole fraction below what was learnt of it, the other not."""
    seen, known = view.columns, known_of(view.facts, view.memory)
    if seen is None or np.isnan(known.volts) or not {"pv_voltage_v", "pv_current_a"} <= seen.rows.values.keys():
        return []
    rows = np.flatnonzero(lit_rows(seen))
    if len(rows) < LIMITS.rows:
        return []
    measured = bool(seen.expected.poa_measured[rows].all())
    best: tuple[int, _Side, int | None] | None = None
    for side in _sides(view.facts, known, measured):
        low = _is_low(_level(seen, rows, known, side.of_volts), known, side)
        if low.sum() < LIMITS.rows or float(seen.dt_h[rows[low]].sum()) < LIMITS.whole * side.hold_min / 60.0:
            continue
        logs = _logs(view, seen, rows, known, side.of_volts)
        found = [_first(seen, rows, logs, side, measured)]
        if not (measured or side.of_volts):
            level = Level(side.lost, LIMITS.off * side.lost + LIMITS.off_least, side.hold_min, side.ragged, side.stays)
            found.append(first_between_clouds(seen, rows, *logs, level))
        for told in found:
            if told is not None and (best is None or told[0] < best[0]):
                best = told[0], side, told[1]
    return [] if best is None else [_episode(view, seen, rows, *best)]


def lit_rows(seen: Columns) -> np.ndarray:
    """Rows that run under light enough, at or below the voltage of maximum power. bool[n]"""
    with np.errstate(invalid="ignore"):
        lit = seen.settled & ~seen.held & (seen.expected.poa_w_m2 > LIMITS.light_w_m2)
        return lit & (seen.rows["pv_current_a"] > 0) & (seen.rows["pv_voltage_v"] > 0)


@dataclass(frozen=True)
class Known:
    """What was learnt of the array: logs of current by hour of the sun's way, of voltage; how far the newest days were off."""

    current: Floats
    volts: float
    newest_moved: Floats
    newest_volts: float

    @cached_property
    def ends(self) -> tuple[float, float]:
        """Least and largest log of current, of the hours that tell."""
        return float(np.fmin.reduce(self.current)), float(np.fmax.reduce(self.current))

    def moved_from(self, before: "Known") -> float:
        """The largest change of a level (log) since `before`; infinite where one of the two knows nothing."""
        if np.isnan(self.volts) or np.isnan(before.volts):
            return 0.0 if np.isnan(self.volts) else np.inf
        moved = (abs(now - was) for now, was in zip(self.ends, before.ends, strict=True))
        return max(*moved, abs(self.volts - before.volts))


HOURS_OF_SUN = slice(PLACE["s0"], PLACE["s0"] + HOURS)
NOTHING_KNOWN = Known(np.full(HOURS, np.nan), np.nan, np.full(HOURS, np.nan), np.nan)


def known_of(facts: SiteFacts, memory: Memory) -> Known:
    """`NOTHING_KNOWN` before enough sound days, and while the array's loss is told of already."""
    if "mean" not in memory.arrays or told_open(memory):
        return NOTHING_KNOWN
    mean, days = memory.arrays["mean"], memory.arrays["days"]
    hours, volts = HOURS_OF_SUN, _told_volts(days)
    if days[volts] < LIMITS.learnt_days:
        return NOTHING_KNOWN
    measured = "irradiance_w_m2" in facts.sensors.channels
    told = _newest(memory.arrays["recent"][-LIMITS.newest_days :])
    # weeks of cloud tell nothing; what the hours gave before them is nearer than another season's
    newest = (told if measured else _newest(memory.arrays["recent"]))[hours]
    current = np.where(days[hours] >= LIMITS.learnt_days, mean[hours], np.nan)
    usual, kept = between_known(current) if measured else current, ~np.isnan(newest)
    if measured and not np.isnan(current).all():
        # beside a sensor, hours in which the pump was always held back would give what the others do
        usual = np.where(np.isnan(usual), middle(current), usual)
    if not measured and kept.any():  # the air of these days; also hours that were held back before
        usual = np.where(kept, newest, middle(newest))
    if np.isnan(usual).all():
        return NOTHING_KNOWN
    return Known(usual, float(mean[volts]), newest - current, float(told[volts]))


def same_known(facts: SiteFacts, memory: Memory, before: Memory) -> bool:
    """Surely the same levels in both, by the very arrays that they come from; how far the newest days were off may differ."""
    same = all(memory.arrays.get(name) is before.arrays.get(name) for name in ("mean", "days"))
    return same and "irradiance_w_m2" in facts.sensors.channels and told_open(memory) == told_open(before)


def told_open(memory: Memory) -> bool:
    """Whether a loss of the array is told of already."""
    return any(c.family == "slow-electric" and c.ended_ms is None for c in memory.cases)


def _told_volts(days: Floats) -> int:
    """Of high sun, or of low sun where a pump is held back at noon."""
    high, low = PLACE["av1"], PLACE["av0"]
    return high if days[high] >= LIMITS.learnt_days else low


def _newest(figures: Floats) -> Floats:
    """The last known of each column, NaN where none is. (days, figures) -> (figures,)"""
    last = figures[::-1]
    return last[(last == last).argmax(axis=0), np.arange(figures.shape[1])]


@dataclass(frozen=True)
class _Side:
    """What to look for: a loss (log) of one side, for how long, how even, and by how much the other may move."""

    of_volts: bool
    share: float
    lost: float
    hold_min: float
    ragged: float
    stays: float


def _sides(facts: SiteFacts, known: Known, measured: bool) -> list[_Side]:
    array, found = facts.array, []
    for out in range(1, min(LIMITS.most_strings, array.strings - 1) + 1):
        share, lost = out / array.strings, -float(np.log(1 - out / array.strings))
        if (share >= LIMITS.least if measured else out == 1 and share >= LIMITS.least_clear) and not (
            known.newest_moved < -SHOWN * lost
        ).any():
            hold, ragged = (
                (LIMITS.measured_min, LIMITS.ragged_measured) if measured else (LIMITS.clear_min, LIMITS.ragged)
            )
            found.append(_Side(False, share, lost, hold, ragged, LIMITS.volts_stay))
    if array.strings > 1:
        return found  # a module less in one of several strings moves the voltage of all by no whole fraction
    for out in range(1, min(LIMITS.most_modules, array.modules_in_series - 1) + 1):
        share, lost = out / array.modules_in_series, -float(np.log(1 - out / array.modules_in_series))
        if (
            share >= (LIMITS.least_volts if measured else LIMITS.least_volts_clear)
            and not known.newest_volts - known.volts < -SHOWN * lost
        ):
            found.append(_Side(True, share, lost, LIMITS.volts_min, LIMITS.ragged_volts, LIMITS.current_stays))
    return found


SHOWN = 0.35  # of the loss: what was there on the days before did not come at once


def low_rows(seen: Columns, facts: SiteFacts, known: Known, moved: float) -> np.ndarray:
    """Rows that any lost string or module could make so, should what is known of the array change by a log of `moved`. bool[n]"""
    found = np.zeros(len(seen), bool)
    if np.isnan(known.volts) or not {"pv_voltage_v", "pv_current_a"} <= seen.rows.values.keys():
        return found
    rows = np.flatnonzero(lit_rows(seen))
    unlimited = replace(known, newest_moved=np.zeros(1), newest_volts=known.volts)
    levels: dict[bool, Floats] = {}
    for side in _sides(facts, unlimited, "irradiance_w_m2" in seen.rows.values):
        if side.of_volts not in levels:
            levels[side.of_volts] = _level(seen, rows, known, side.of_volts)
        found[rows[_is_low(levels[side.of_volts], known, side, moved)]] = True
    return found


def least_h() -> float:
    """Hours of such rows below which nothing is told."""
    return LIMITS.whole * min(LIMITS.measured_min, LIMITS.clear_min, LIMITS.volts_min) / 60.0


def _level(seen: Columns, rows: np.ndarray, known: Known, of_volts: bool) -> Floats:
    """Log of voltage over what it was, or of current."""
    with np.errstate(invalid="ignore", divide="ignore"):
        if of_volts:
            return np.log(seen.rows["pv_voltage_v"][rows] / seen.expected.mpp_voltage_v[rows]) - known.volts
        return np.log(seen.rows["pv_current_a"][rows] / seen.expected.mpp_current_a[rows])


def _is_low(level: Floats, known: Known, side: _Side, moved: float = 0.0) -> np.ndarray:
    """Which rows lie low enough at all: costs little."""
    with np.errstate(invalid="ignore"):
        if side.of_volts:
            return level < -0.4 * side.lost + moved
        least, most = known.ends[0] - moved, known.ends[1] + moved
        return (level > least - 1.3 * side.lost) & (level < most - 0.7 * side.lost)


def _logs(view: DayView, seen: Columns, rows: np.ndarray, known: Known, own_light: bool) -> tuple[Floats, Floats]:
    """Logs of current and voltage over what was learnt of them, NaN where nothing was.

    own_light
        Where no sensor tells the light, the array's own current does: right for a loss of voltage. Else a clear sky is supposed, whose
        warm cells a cloud would cool.
    """
    plant, expected = plant_of(view.facts), seen.expected
    hour = hour_bins(plant, seen, range(view.day, view.day + 1))[rows]
    at_maximum_v = expected.mpp_voltage_v
    if own_light and not expected.poa_measured.all():
        at_maximum_v = voltage_at_maximum(plant, seen, lit_rows(seen))
    with np.errstate(invalid="ignore", divide="ignore"):
        current = np.log(seen.rows["pv_current_a"][rows] / expected.mpp_current_a[rows]) - known.current[hour]
        volts = np.log(seen.rows["pv_voltage_v"][rows] / at_maximum_v[rows]) - known.volts
    return current, volts


def _first(
    seen: Columns, rows: np.ndarray, logs: tuple[Floats, Floats], side: _Side, measured: bool
) -> tuple[int, int | None] | None:
    """The first row that ends a stretch in which the side is that much lower, evenly, and the other where it was; where it is known, the first since.

    Where a sensor tells the light, hours between in which the array was held back, or stood, take nothing from what the others tell.
    """
    moved, other = logs[::-1] if side.of_volts else logs
    time_ms, hours = seen.time_ms[rows], np.concatenate([[0.0], np.cumsum(seen.dt_h[rows])])
    start = np.searchsorted(time_ms, time_ms - round(side.hold_min * MINUTE_MS), "right")
    if measured:
        start = np.minimum(
            np.searchsorted(hours[:-1], hours[1:] - side.hold_min / 60.0 - ROUNDING_H), np.arange(len(rows))
        )
    mean, std = running(moved, start)
    with np.errstate(invalid="ignore"):
        found = np.abs(mean + side.lost) < LIMITS.off * side.lost + LIMITS.off_least
        found &= std < side.ragged
        if measured or not side.of_volts:
            found &= np.abs(running(other, start)[0]) < side.stays
    found &= hours[1:] - hours[start] > LIMITS.whole * side.hold_min / 60.0
    found &= np.arange(len(rows)) + 1 - start >= LIMITS.rows
    if side.of_volts and found.any():
        found &= no_resistance(moved, np.log(seen.rows["pv_current_a"][rows]), side.lost, found)
    if not found.any():
        return None
    flag = int(np.argmax(found))
    return flag, int(start[flag]) if measured else None


ROUNDING_H = 1e-9


def _episode(view: DayView, seen: Columns, rows: np.ndarray, flag: int, side: _Side, began: int | None) -> Episode:
    flag_ms = int(seen.time_ms[rows[flag]])
    began_ms = flag_ms - round(side.hold_min * MINUTE_MS) if began is None else int(seen.time_ms[rows[began]])
    if not (seen.time_ms[rows] < began_ms).any():
        began_ms = view.days.open_ms(view.day)  # so low since the sun came: in the night, or when nobody could see it
    measures = {"of_volts": float(side.of_volts), "lost": side.lost, "hold_min": side.hold_min}
    return Episode(
        "string-out", began_ms, up_to_minute(flag_ms), flag_ms, side.hold_min / 60.0, measures, measures,
        cause="string-out", size=side.share,
    )  # fmt: skip


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    if "attempts" in figures:
        return sentence(figures)
    if "hold_min" in figures:
        side, other = ("voltage", "current") if figures["of_volts"] else ("current", "voltage")
        return (
            f"For {figures['hold_min']:.0f} minutes at maximum power the array's {side} was {100 * figures.get('size', 0.0):.0f} % lower than on the days "
            f"before, as much as whole strings or modules of it; its {other} was as ever."
        )
    volts = figures.get("shift_av1", 0.0)
    side = "its voltage fell with it" if volts < -0.01 else "its voltage did not fall"
    return (
        f"From one day to the next the array gives {100 * figures.get('size', 0.0):.0f} % less at maximum power at all hours, as much as whole "
        f"strings or modules of it; {side}."
    )


register(
    CauseFile(
        "string-out",
        per_year=0.15,
        judged="hour",
        check="Look without touching for a plug pulled apart, a burnt connector, a cracked or taped panel.",
        advice=Advice(
            own=("Look, without touching, for plugs pulled apart, burnt spots, cables bitten through, cracked glass.",),
            technician=(
                "Look at the string fuses; measure each string's current with a clamp in steady sun, then each module's voltage.",
                "Change a burnt plug with its counterpart of the same make; look at bypass diodes.",
            ),
            cautions=(
                beware("Never step on a panel, and keep away from broken glass.", "height"),
                beware(
                    "Never pull a plug under load: direct current draws an arc. Switch off and isolate first.", "sunlit"
                ),
                beware("String voltages can kill; work on them is for licensed people.", "licensed"),
            ),
        ),
        evidence=evidence,
        effect=effect,
        levels=levels,
        watch=watch,
        limits=LIMITS,
    )
)
