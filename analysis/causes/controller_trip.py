"""Controller trip: it stops itself again and again with a fault code of its own."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.over_voltage import LIMITS as OVER_VOLTAGE
from analysis.causes.registry import HELICAL, Advice, CauseFile, OfKind, beware, register
from analysis.gives_up import gives_up
from analysis.look import Columns
from analysis.no_water import GONE, fruitless
from analysis.plant import plant_of
from analysis.protected import TRY_MS, at_intake
from analysis.rows import last_where
from analysis.said_falsely import LIMITS as SAID
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.symptoms import DayView, Episode
from analysis.unread_trips import LIMITS as UNREAD
from analysis.unread_trips import TRIP_BEGAN, days_before, unread_stops


@dataclass(frozen=True)
class TripLimits:
    """Trips within a day that are a fault: one or two happen (common practice, no source)."""

    trips: int = 3
    hold_min: float = 5.0  # a shorter hold is like any controller's own pause
    hold_share: float = 0.1  # a timer's own tolerance
    brief: float = (
        0.3  # what a trip counts within minutes of a start and before any water: it may guard a pump that lifts nothing
    )
    above_m: float = 5.0  # a level recovers by so much at once only in a well that gives well


LIMITS = TripLimits()


def watch(view: DayView) -> list[Episode]:
    """Judged when: the code is read. Shows as: a code other than 0 that stops a running pump, goes, and comes again.

    A code without running in between is a motor that does not turn, and one at the rating's edge an array of too many modules:
    both have a cause of their own.
    """
    seen = view.columns
    if seen is None or no_water_known(view):
        return []
    if "fault_code" not in seen.rows.values:
        return _by_stops(view, seen)
    code = np.nan_to_num(seen.rows["fault_code"])
    with np.errstate(invalid="ignore"):
        high = seen.rows["pv_voltage_v"] > view.facts.controller.max_input_voltage_v * (1 - OVER_VOLTAGE.tripped_below)
    coded = (code > 0) & ~high & ~_said_when_high(code, high) & ~_low_level(view, seen, code > 0)
    tripped = coded & ~seen.turning
    starts = _stops(
        seen, tripped, (code == 0.0) | (seen.dt_h > SAID.row_h)
    )  # a long row may hold a trip beside the running
    if len(starts) >= LIMITS.trips:
        ran = _ran_last(seen, starts)
        drawn_down = at_intake(plant_of(view.facts), seen)
        kept = (
            fruitless(view, ran)
            | gives_up(plant_of(view.facts), seen).tries[ran]
            | drawn_down[ran]
            | drawn_down[starts]
        )
        starts = starts[~kept]  # what kept it from lifting water is the cause
    enough = np.flatnonzero(np.cumsum(np.where(_brief(seen, starts), LIMITS.brief, 1.0)) >= LIMITS.trips)
    if not len(enough):
        return []
    flag = int(starts[enough[0]])
    last = int(np.flatnonzero(tripped)[-1])
    begun = int(np.count_nonzero(coded & ~np.concatenate([[False], coded[:-1]])))
    trips = float(max(begun, len(starts)))
    should = np.nan_to_num(seen.expected.flow_of_sun_m3_h) * seen.dt_h
    return [
        Episode(
            "controller-trip",
            began_ms=int(seen.time_ms[starts[0]]),
            flag_ms=up_to_minute(int(seen.time_ms[flag])),
            seen_ms=int(seen.time_ms[last]),
            hours=max(float(seen.time_ms[last] - seen.time_ms[starts[0]]) / HOUR_MS, 0.1),
            at_flag={"trips": float(LIMITS.trips), "code": float(code[starts[0]])},
            whole={"trips": trips, "code": float(np.median(code[starts]))},
            cause="controller-trip",
            size=trips,
            lost_m3=float(should[tripped].sum()),
        )
    ]


def _said_when_high(code: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Rows of the code that last stood while the array's voltage was too high: it stands on when the voltage has gone down. bool[n]"""
    last = np.maximum.accumulate(np.where(high & (code > 0), np.arange(len(code)), -1))
    return (last >= 0) & (code == code[last])


def _by_stops(view: DayView, seen: Columns) -> list[Episode]:
    """Where no code is read, by stops from full power on several days."""
    again = unread_stops(view)
    before = days_before(view)
    if not len(again) or before + 1 < UNREAD.days:
        return []
    trips = float(len(again))
    first = int(seen.time_ms[again[0]])
    known = any(case.family == "controller-trip" for case in view.memory.cases)
    return [
        Episode(
            "controller-trip",
            began_ms=first if known else int(view.memory.numbers[TRIP_BEGAN]),
            flag_ms=up_to_minute(view.days.daylight_ms(view.day, 0)[1]),
            seen_ms=int(seen.time_ms[again[-1]]),
            hours=max(float(seen.time_ms[again[-1]] - first) / HOUR_MS, 0.1),
            at_flag={"trips": trips, "unread": 1.0},
            whole={"trips": trips, "unread": 1.0},
            cause="controller-trip",
            size=trips,
        )
    ]


def no_water_known(view: DayView) -> bool:
    """It ran without water at yesterday's close: a controller that stops it for that does what it is for."""
    return any(c.family == "no-water" and c.ended_ms is None and c.cause in GONE for c in view.memory.cases)


def _low_level(view: DayView, seen: Columns, coded: np.ndarray) -> np.ndarray:
    """Rows whose code stands for a low level: no trip. bool[n]

    The level is back within minutes of the stop, and the code stands on through the hold: a stretch of it counts where the row before
    it or one within it reads dry; or, as a reading may have missed that, where it lasts as long as the hold and no level contradicts.
    """
    well, controller = view.facts.well, view.facts.controller
    dry = seen.rows["low_level_probe_wet"] < 0.5
    begins = coded & ~np.concatenate([[False], coded[:-1]])
    stretch = np.cumsum(begins)
    near = dry | np.concatenate([[False], dry[:-1]])
    low = np.bincount(stretch, near & coded) > 0
    if well.probe_depth_m is not None and controller.low_level_hold_min >= LIMITS.hold_min:
        hold_h = controller.low_level_hold_min / 60.0
        lasted = np.bincount(stretch, np.where(coded, seen.dt_h, 0.0))
        rows = np.maximum(np.bincount(stretch, coded), 1)
        row_h = lasted / rows
        late_h = LIMITS.hold_share * hold_h + controller.start_delay_s / 3600.0 + row_h
        level = seen.rows["water_level_m"]
        above = np.bincount(stretch, begins & (well.probe_depth_m - level > LIMITS.above_m)) > 0
        low |= (lasted > (1 - LIMITS.hold_share) * hold_h - row_h) & (lasted < hold_h + late_h) & ~above & (rows > 1)
    return dry | (coded & low[stretch])


def _stops(seen: Columns, tripped: np.ndarray, well: np.ndarray) -> np.ndarray:
    """First rows of trips before which the pump had turned since the last one, `well`: a code that stays while it runs stopped nothing."""
    starts = np.flatnonzero(tripped & ~np.concatenate([[False], tripped[:-1]]))
    ran = np.cumsum(seen.turning & well)[starts]
    return starts[np.diff(ran, prepend=0) > 0]


def _brief(seen: Columns, starts: np.ndarray) -> np.ndarray:
    """By stop: it ran for minutes only, and no water was seen to come."""
    places = np.arange(len(seen.turning))
    with np.errstate(invalid="ignore"):
        came = np.cumsum((seen.moved_m3 > 0) | (seen.rows["flow_m3_h"] > 0))
    last = _ran_last(seen, starts)
    stood = np.maximum.accumulate(np.where(seen.turning, -1, places))[last]
    begun = np.maximum(stood, 0)
    row_ms = np.rint(seen.dt_h[last] * HOUR_MS)
    return (
        (seen.time_ms[last] - seen.time_ms[begun] <= np.maximum(TRY_MS, row_ms))
        & (came[starts] == came[begun])
        & (stood >= 0)
    )


def _ran_last(seen: Columns, starts: np.ndarray) -> np.ndarray:
    """By stop, the last row in which it turned."""
    return last_where(seen.turning)[starts]


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    if figures.get("unread", 0.0) > 0:
        return (
            f"The pump stopped from full power about {figures.get('trips', 0.0):.0f} times a day under a clear sky, stood for minutes and started "
            "again; no code of the controller is read."
        )
    return (
        f"The controller stopped itself about {figures.get('trips', 0.0):.0f} times a day with its fault code {figures.get('code', 0.0):.0f}, sun "
        "enough and the well not low."
    )


register(
    CauseFile(
        "controller-trip",
        per_year=0.3,
        judged="minute",
        check="Read its display and look the code up in the controller's manual.",
        check_unread="Stand at the controller in full sun until it stops: read its display or lamps then, and see whether the tank is full. "
        "Nothing here reads a code or the tank.",
        advice=Advice(
            own=(
                "Read the display as soon as it has stopped, and look its code up in the manual; write down at what time of day it comes.",
                "Where nothing reads the tank: see whether it was full just then.",
            ),
            technician=(
                "Read the controller's journal; check motor current and insulation, input voltage and temperature at the time of the trip.",
            ),
            cautions=(
                beware("Do not reset again and again: the controller protects motor and itself.", "resets"),
                beware(
                    "By day array voltage stands inside the box, and its output is as dangerous as the mains: licensed people only.",
                    "licensed",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                own=(
                    "If the code speaks of overload, switch off and see that every valve up to the tank is open before it runs again.",
                )
            ),
        },
        evidence=evidence,
        watch=watch,
        limits=LIMITS,
    )
)
