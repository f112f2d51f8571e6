"""Sensor fault: a channel stuck, drifting, out of range or against the others."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.by_night import FIGURE, standing
from analysis.causes.registry import CauseFile, Levels, register
from analysis.channel_drifts import drifts
from analysis.estimates.vector import PLACE
from analysis.lonely_jumps import jumping
from analysis.look import Columns
from analysis.plant import Plant, plant_of
from analysis.said_falsely import denied
from analysis.sensor_checks import ADVICE, ANY, check_of_channel
from analysis.sensor_words import load_of, sentence
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.symptoms import DayView, Episode
from analysis.values_lost import NUMBER, judged, loses
from analysis.water_told import WITHIN_STEPS, known_h, late_rows, step_n, told_rows
from analysis.what_moves import moved_by, swing_asked, swung, volts_swung
from logger.record.site_facts import SiteFacts


@dataclass(frozen=True)
class SensorLimits:
    """Common practice, no source."""

    stuck_h: float = 3.0  # of running, or of changing light, without the least change
    dry_h: float = 2.0  # of water delivered while the probe says dry
    below_m: float = 1.5  # the level under a probe that says wet: three of a level sensor's own scatter (scatter.py)
    comes: float = 0.1  # of the pump's full flow: it runs (common practice, no source)
    starved: float = 0.75  # of the expected flow: then the level is no sensor's mistake
    air_h: float = 6.0  # likewise for temperatures of air and box, which a coarse sensor may hold for hours
    dead_h: float = 3.0  # of running, or
    dead_light_h: float = 6.0  # of light, without a value while others speak


LIMITS = SensorLimits()
LEAST_ROWS = 8
BRIGHT_W_M2 = 150.0
ALIVE = {
    "irradiance_w_m2": "light",
    "module_temp_c": "light",
    "water_level_m": "always",
    "discharge_pressure_bar": "always",
    "motor_current_a": "lifting",
    "motor_speed_rpm": "lifting",
    "pv_voltage_v": "light",
    "pv_current_a": "lifting",
    "flow_m3_h": "running",
    "volume_m3": "running",
    "tank_level_m": "running",
    "ambient_temp_c": "light",
    "controller_temp_c": "light",
}
"""Channels that cannot stand still, and while what; level and gauge differ between running and rest, by drawdown and friction."""

SLOW_TO_WARM = ("ambient_temp_c", "controller_temp_c")
BY_WATER = ("water_level_m", "discharge_pressure_bar")
"""Channels that move with the water that comes."""

SAYS_RUNNING = frozenset({"motor_running", "motor_speed_rpm", "motor_current_a"})

ANSWERS = frozenset({"motor_current_a", "motor_speed_rpm", "pv_voltage_v", "pv_current_a"})
"""Channels that read otherwise as soon as the pump stands."""

SPOKEN = {
    "irradiance_w_m2": "gc", "pv_voltage_v": "av1", "motor_current_a": "i1", "motor_speed_rpm": "t1", "water_level_m": "l1",
    "discharge_pressure_bar": "p1",
}  # fmt: skip
"""Channels whose values the days' vectors hold: where one has, the channel once spoke."""

SLIPS = (("tenth", 0.1, 0.02, 0.02), ("hundredth", 0.01, 0.002, 0.004))
"""A decimal point of the pulse value: share that is counted, how far it is open (a fifth: what the expected flow is known to), how often (a guess)."""


def levels(kind: str) -> dict[str, Levels]:
    """A dead meter: no water counted while the load is that of a pump that lifts. An impeller that lifts does not let go of its load; a
    rotor whose speed is turned down looks as if it had. One that is set ten
    times too small counts a tenth at every flow, where a hole takes another share at each.
    """
    loaded: Levels = {} if kind == "helical-rotor" else {"let_go": (0.0, 0.25)}
    common = loaded | {
        "torque": (0.0, 0.08), "current": (0.0, 0.1), "sun": (-0.05, 0.25), "fell": (0.0, 0.12), "onset": (0.6, 0.5), "ran": (3.0, 2.0), "above": (3.0, 5.0), "water": (10.0, 8.0), "drawn": (1.0, 0.3), "pipe": (1.0, 0.3),
        "probe": (1.0, 0.2), "lead": (0.0, 0.2), "backwards": (0.0, 0.1), "handled": (0.1, 0.35), "part": (0.9, 0.25),
    }  # fmt: skip
    dead = {"flow": (0.0, 0.03), "before": (1.0, 0.1), "revived": (0.05, 0.2), "rate": (0.15, 0.0)}
    slips = {
        f"no-water/{name}": common
        | {"flow": (share, open_), "before": (share, 2 * open_), "revived": (0.9, 0.5), "rate": (rate, 0.0)}
        for name, share, open_, rate in SLIPS
    }
    return {"no-water/meter": common | dead, **slips}


def watch(view: DayView) -> list[Episode]:
    """Judged when: a whole day of rows. Shows as: a value that does not move while everything else does; a probe against the flow."""
    seen, as_read = view.columns, view.as_read
    if seen is None or as_read is None or len(seen) < LEAST_ROWS:
        return []
    found: dict[str | None, Episode] = {}
    for part in (_stuck, _dead, _probe, _lost, _denied, _jumps):
        told = part(view, as_read)
        if view.lies and part in BESIDE_OTHERS:  # what lies is no witness against a sound channel
            told = [one for one in told if one.channel in view.lies]
            told += [one for one in part(view, seen) if one.channel not in view.lies]
        for episode in told:
            found.setdefault(episode.channel, episode)  # one word about a channel, the first that says why
    return list(found.values())


def alive_rows(plant: Plant, seen: Columns) -> dict[str, np.ndarray]:
    """By what a channel needs to move, the rows where it must. bool[n] each

    Water that comes is proof enough of a pump that runs where the very channel that tells so reads nothing, and no other says that it
    stands; not what a meter's last step leaves, shared out over the hours of rest after it.
    """
    unsaid = SAYS_RUNNING.isdisjoint(seen.rows.values)
    with np.errstate(invalid="ignore"):
        lifting = seen.settled | (
            (seen.flow_m3_h > LIMITS.comes * plant.full_flow_m3_h) & (seen.dt_h > 0) & (seen.driven | unsaid)
        )
    return {
        "running": seen.settled,
        "lifting": lifting,
        "light": seen.expected.daylight & (seen.expected.clear_poa_w_m2 > BRIGHT_W_M2),
        "always": seen.dt_h > 0,
    }


def _stuck(view: DayView, seen: Columns) -> list[Episode]:
    """Channels that stood still while they cannot: for hours by day, or into the dark; of each what tells it first."""
    found: dict[str | None, Episode] = {}
    by_night = [
        _episode(seen, channel, rows, int(rows[enough]), {FIGURE: value})
        for channel, rows, enough, value in standing(plant_of(view.facts), seen)
    ]
    for episode in (*_still(view, seen), *by_night):
        before = found.get(episode.channel)
        if before is None or episode.flag_ms < before.flag_ms:
            found[episode.channel] = episode
    return list(found.values())


def _still(view: DayView, seen: Columns) -> list[Episode]:
    """Channels that stood still for hours while what moves them swung; the first such stretch of the day."""
    found, plant = [], plant_of(view.facts)
    alive = alive_rows(plant, seen)
    for channel, needs in ALIVE.items():
        column = seen.rows.values.get(channel)
        if column is None or not _may_be_stuck(column):
            continue
        if channel == "volume_m3" and "flow_m3_h" not in seen.rows.values:
            continue  # where nothing else counts the water, a register that stands is weighed against all that keeps water away
        if channel == "tank_level_m" and "tank_float_up" not in seen.rows.values:
            continue  # a tank that runs over stands full for hours
        rows = np.flatnonzero(alive[needs] & ~np.isnan(column))
        if len(rows) < LEAST_ROWS:
            continue
        least_h = LIMITS.air_h if channel in SLOW_TO_WARM else LIMITS.stuck_h
        starts = np.flatnonzero(np.concatenate([[True], np.diff(column[rows]) != 0]))
        stops = np.append(starts[1:], len(rows))
        long = stops - starts >= LEAST_ROWS
        for start, stop in zip(starts[long], stops[long], strict=True):
            part = rows[start:stop]
            held = np.cumsum(seen.dt_h[part])
            if held[-1] < least_h or (channel == "flow_m3_h" and column[part[0]] == 0.0):
                continue  # no flow all day is for the causes of no water, or for a sun too low to lift any
            if channel == "tank_level_m" and column[part[0]] < EMPTY_M:
                continue  # what comes is drawn at once, and the tank stands at its outlet
            swing = swing_asked(plant, channel, column[: part[0] + 1])
            moved = [swung(seen, channel, drive, part, swing) for drive in moved_by(view, seen, channel)]
            if channel == "pv_voltage_v":
                moved.append(volts_swung(seen, part, column[: part[0] + 1]))
            enough = np.flatnonzero((held >= least_h) & np.logical_and.reduce(moved) & _frozen(seen, channel, part))
            if len(enough) and (channel in BY_WATER or (needs == "lifting" and not seen.settled[part].all())):
                enough = np.flatnonzero(told_rows(seen)[part] & (np.arange(len(part)) >= enough[0]))
            if len(enough):
                found.append(_episode(seen, channel, part, int(part[enough[0]]), {"stuck": float(column[part[0]])}))
                break
    return found


def _frozen(seen: Columns, channel: str, part: np.ndarray) -> np.ndarray:
    """By row of a stretch, up to it: nothing says that the channel still answers. bool

    A coarse reading stands for hours while the pump runs at one speed against one head, or the array at one temperature; but it
    answers when the pump stops. One that is stuck reads standing what it read running, so the stretch must hold such a row, or
    begin with the day.
    """
    if channel not in ANSWERS:
        return np.ones(len(part), bool)
    column = seen.rows[channel]
    value = column[part[0]]
    if value == 0.0:
        return np.ones(len(part), bool)  # none at all while the pump turns
    stands = ~seen.turning & ~np.isnan(column) & (seen.dt_h > 0)
    stands[1:] &= ~seen.turning[:-1]  # a row in which it stopped holds both
    same = np.cumsum(stands & (column == value))
    other = np.cumsum(stands & (column != value))
    return (same[part] > 0) & (other[part] == other[part[0]])


def dead_rows(seen: Columns, channel: str) -> np.ndarray:
    """Rows in which a channel must speak and does not. bool[n]"""
    column = seen.rows[channel]
    with np.errstate(invalid="ignore"):
        alive = seen.settled if ALIVE[channel] != "light" else seen.expected.clear_poa_w_m2 > BRIGHT_W_M2
    return alive & np.isnan(column) & (seen.dt_h > 0)


def _dead(view: DayView, seen: Columns) -> list[Episode]:
    """Fitted channels that once spoke and give no value all day while the plant is read."""
    found, recent = [], view.memory.arrays.get("recent")
    for channel, entry in SPOKEN.items():
        if recent is None or channel not in view.facts.sensors.channels or np.isnan(recent[:, PLACE[entry]]).all():
            continue
        rows = np.flatnonzero(dead_rows(seen, channel))
        held = np.cumsum(seen.dt_h[rows])
        enough = np.flatnonzero(held >= (LIMITS.dead_light_h if ALIVE[channel] == "light" else LIMITS.dead_h))
        if len(enough) and np.isnan(seen.rows[channel][rows[0] : rows[int(enough[0])] + 1]).all():
            found.append(_episode(seen, channel, rows, int(rows[int(enough[0])]), {"dead": 1.0}))
    return found


def _lost(view: DayView, seen: Columns) -> list[Episode]:
    """Channels without a value in many rows in which their fellows speak, or in all since the site's first day."""
    found, numbers = [], view.memory.numbers
    for channel in judged(view.facts):
        never = numbers.get(NUMBER + channel) == 1.0
        days = view.day - int(view.days.day_of(view.first_ms)) if never else 0
        lost = loses(view.facts, seen, view.memory, channel, days)
        if lost is not None:
            rows, enough, share = lost
            episode = _episode(seen, channel, rows, enough, {"never": 1.0} if never else {"gaps": share})
            found.append(replace(episode, began_ms=view.first_ms) if never else episode)
    return found


def _denied(view: DayView, seen: Columns) -> list[Episode]:
    """What a flag says and the plant's own figures deny; a well that is known to give out may leave its probe dry."""
    gives_out, warns = (
        any(case.cause in causes and case.ended_ms is None for case in view.memory.cases)
        for causes in (GIVES_OUT, WARNED_OF)
    )
    with np.errstate(invalid="ignore"):
        warns |= bool((seen.rows["pv_voltage_v"] > view.facts.controller.max_input_voltage_v).any())
    return [
        _episode(seen, one.channel, one.rows, one.enough, {one.key: one.value})
        for one in denied(plant_of(view.facts), seen)
        if not (gives_out and one.key == "dry_at_rest") and not (warns and one.key == "said_faulty")
    ]


def _jumps(view: DayView, seen: Columns) -> list[Episode]:
    """Channels that jump while all that moves them keeps still."""
    return [
        _episode(seen, channel, rows, enough, {"jumps": share})
        for channel, rows, enough, share in jumping(plant_of(view.facts), seen)
    ]


GIVES_OUT = ("falling-water-level", "dry-running")
WARNED_OF = ("over-voltage",)
"""A code that says so may stand while the pump lifts: the controller does not know that the array will never show as much again."""
EMPTY_M = 0.2  # outlets lie a hand above the floor (common practice, no source)


def _may_be_stuck(column: np.ndarray) -> bool:
    """A look at each fourth reading: a stretch of eight alike holds two of them in a row."""
    few = column[::4]
    return bool((few[1:] == few[:-1]).any())


def _probe(view: DayView, seen: Columns) -> list[Episode]:
    """Says dry while water comes, or while the level stands well above it; says wet while the pump starves and the level is below."""
    probe = seen.rows["low_level_probe_wet"]
    with np.errstate(invalid="ignore"):
        depth = view.facts.well.probe_depth_m
        level = seen.rows["water_level_m"]
        counting = (seen.since_n >= 0) & (seen.since_n < WITHIN_STEPS * step_n(view.facts)) & ~np.isnan(seen.moved_m3)
        flowing = seen.settled & (seen.should_m3_h > 0) & (counting | (seen.flow_now_m3_h > 0.5 * seen.should_m3_h))
        above = (depth - level > 2.0) if depth is not None else np.zeros(len(seen), bool)
        borne_out = level > depth if depth is not None else np.zeros(len(seen), bool)
        lying = (probe < 0.5) & (flowing | (above & ~seen.turning)) & ~borne_out
    drowned = drowned_rows(view.facts, seen)
    return [
        _episode(seen, "low_level_probe_wet", np.flatnonzero(lies), int(enough[0]), {said: 1.0})
        for said, lies, held_h in (
            ("probe_dry", lying, np.cumsum(np.where(lying, seen.dt_h, 0.0))),
            ("probe_wet", drowned, known_h(view.facts, seen, drowned) if drowned.any() else np.zeros(len(seen))),
        )
        for enough in [np.flatnonzero(held_h >= LIMITS.dry_h)]
        if len(enough)
    ][:1]


def drowned_rows(facts: SiteFacts, seen: Columns) -> np.ndarray:
    """Rows in which the probe says wet while the level stands well below it and the pump lifts too little. bool[n]"""
    depth = facts.well.probe_depth_m
    if depth is None or not {"low_level_probe_wet", "water_level_m"} <= seen.rows.values.keys():
        return np.zeros(len(seen), bool)
    with np.errstate(invalid="ignore"):
        below = (seen.rows["low_level_probe_wet"] > 0.5) & (seen.rows["water_level_m"] > depth + LIMITS.below_m)
        starved = (seen.flow_m3_h < LIMITS.starved * seen.should_m3_h) | late_rows(facts, seen)
        return below & seen.turning & starved & (seen.should_m3_h > 0)


def _episode(seen: Columns, channel: str, rows: np.ndarray, flag: int, figures: dict[str, float]) -> Episode:
    return Episode(
        "sensor-fault",
        began_ms=int(seen.time_ms[rows[0]] - round(seen.dt_h[rows[0]] * HOUR_MS)),
        flag_ms=up_to_minute(int(seen.time_ms[flag])),
        seen_ms=int(seen.time_ms[rows[-1]]),
        hours=float(seen.dt_h[rows].sum()),
        at_flag=figures,
        whole=figures,
        cause="sensor-fault",
        channel=channel,
    )


def evidence(figures: dict[str, float], channel: str | None = None) -> str:
    """One sentence with the figures, in the channel's unit."""
    return sentence(figures, channel, load_of(figures))


BESIDE_OTHERS = (_stuck, _probe, _denied, _jumps)
"""What is held against other channels' readings."""

register(
    CauseFile(
        "sensor-fault",
        per_year=0.6,
        judged="day",
        check=ANY,
        check_channel=check_of_channel,
        advice=ADVICE,
        evidence=evidence,
        names_channel=True,
        effect=drifts,
        levels=levels,
        watch=watch,
        limits=LIMITS,
    )
)
