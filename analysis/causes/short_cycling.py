"""Short cycling: starts and stops far more often than sun, tank and probe explain."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import NO_CLIMBING, Advice, CauseFile, beware, register
from analysis.full_power import STRONG, full_w, own_full, strong_rows
from analysis.gives_up import gives_up
from analysis.look import Columns, stopped_within, told_off, told_to_stand
from analysis.no_water import between_tries
from analysis.plant import Plant, plant_of
from analysis.rows import last_where, or_zero
from analysis.running import tries_of
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.stood import array_lost
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class CyclingLimits:
    """Common practice, no source: small motors bear 20 to 100 starts a day."""

    starts: int = 6
    within_ms: int = 90 * 60_000
    sun_share: float = 0.5  # of full power offered: sun does not explain a stop
    unmeasured_starts: int = (
        14  # no sensor reads the sun: clouds with sharp edges stop a pump often, but not evenly nor for hours
    )
    unmeasured_within_ms: int = 260 * 60_000
    blind_starts: int = 18  # likewise where no voltage says that it is bright
    open_spread: float = 0.02  # of the open array's voltage, over all rests: in sun it keeps, a cloud takes it down by more and lets it climb as cells cool
    open_rows: int = 6
    uneven_bright: float = 0.6  # likewise where the open array says that no cloud came
    uneven: float = 0.45  # standard deviation over mean of such runs' lengths; passing clouds' are as uneven as chance, 1 (Poisson process)
    waits: float = 0.5  # likewise of how long it stood between: a controller waits its own time before each start, clouds pass as chance has it
    row_ms: int = 5 * 60_000  # readings further apart cannot show it
    above_start: float = (
        1.3  # times the power that starts it, likewise: with so much it does not give up for want of sun
    )
    clouded: float = (
        0.15  # of the rows within runs that were weak meanwhile: clouds are about, and may have stopped it too
    )
    hot_c: float = 60.0  # a controller so warm holds power back and at last stops for it
    float_share: float = 0.03  # of the tank, pumped in a run or drawn while it stood: a float switches over a decimetre at least, of two to three metres of height
    drawn: float = 2.0  # times the pump's full flow: nobody draws faster from its tank
    fell: float = 0.5  # of the power of the row before, while the voltage rose: it stood for a good part of the row, and a drive that hunts does not
    keeps: float = (
        0.85  # of the measured sun of the row before, over a row that holds a stop: else a cloud may have made it
    )
    freed: float = (
        1.02  # voltage over that of the row before: a cloud lowers it, and cells cool by a fraction of that in a row
    )


LIMITS = CyclingLimits()


def watch(view: DayView) -> list[Episode]:
    """Judged when: readings each few minutes, sun enough throughout, and either a float that is read or runs too short to fill a tank from float to float. Shows as: stops without sun, tank, probe or code to explain them."""
    seen = view.columns
    if seen is None or len(seen) < 20 or _explained(view):
        return []
    starts, stopped = _starts(view, seen)
    if len(starts) < LIMITS.starts:
        return []
    rests = ~seen.turning | paused_rows(seen)
    windows = _windows(view, seen, starts, rests)
    if windows is None:
        return []
    first, flag = windows
    last = int(starts[-1])
    during = slice(first, last + 1)
    free = free_rows(view, seen)
    hours = max(float(seen.dt_h[during][free[during]].sum()), 0.2)
    again = ~rests[1:] & rests[:-1] & free[:-1]
    per_hour = float(np.count_nonzero(again[first:last]) / hours)
    should = np.nan_to_num(seen.expected.flow_of_sun_m3_h) * seen.dt_h
    return [
        Episode(
            "short-cycling",
            began_ms=int(seen.time_ms[first]),
            flag_ms=up_to_minute(int(seen.time_ms[flag])),
            seen_ms=int(seen.time_ms[last]),
            hours=hours,
            at_flag={"starts": per_hour},
            whole={"starts": per_hour},
            cause="short-cycling",
            size=per_hour,
            lost_m3=float(should[stopped].sum()),
        )
    ]


def _explained(view: DayView) -> bool:
    """What was open at yesterday's close stops it again and again by itself: trips, and a protection against running without water.

    Or an array that is known to give less, where no sensor reads the sun: clouds that it bore before stop it now.
    """
    if array_lost(view) > 0.0 and "irradiance_w_m2" not in view.facts.sensors.channels:
        return True
    return any(
        case.ended_ms is None
        and (case.cause == "controller-trip" or (case.family == "no-water" and case.cause != "sensor-fault"))
        for case in view.memory.cases
    )


def _windows(view: DayView, seen: Columns, starts: np.ndarray, rests: np.ndarray) -> tuple[int, int] | None:
    """First and last row of the stretch that first has so many starts that nothing explains them; None where there is none."""
    found = []
    unmeasured = np.concatenate([[0], np.cumsum(~seen.expected.poa_measured[starts])])
    for measured, count, within in (
        (True, LIMITS.starts, LIMITS.within_ms),
        (False, LIMITS.unmeasured_starts, LIMITS.unmeasured_within_ms),
        (False, LIMITS.blind_starts, LIMITS.unmeasured_within_ms),
    ):
        places = np.arange(max(len(starts) - count + 1, 0))
        first, last = starts[places], starts[places + count - 1]
        dark = unmeasured[places + count] - unmeasured[places]
        quick = (seen.time_ms[last] - seen.time_ms[first] <= within) & ((dark == 0) == measured)
        quick &= ~_clouded(view, seen, first, last)
        if not measured and quick.any():
            steady, moved = _of_open_array(seen, first, last)
            uneven = _unevenness(seen, starts, rests, places, count)
            quick &= ~moved & (uneven < np.where(steady, LIMITS.uneven_bright, LIMITS.uneven))
            quick &= _unevenness(seen, starts, rests, places, count, stood=True) < LIMITS.waits
            if count < LIMITS.blind_starts:
                quick &= ~np.isnan(seen.rows["pv_voltage_v"][starts[places] - 1])
        found += [(int(last[k]), int(first[k])) for k in np.flatnonzero(quick)[:1]]
    if not found:
        return None
    flag, begun = min(found)
    return begun, flag


def _of_open_array(seen: Columns, first: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """By stretch of rows, `first` to `last`: while it stood the open array's voltage kept; it moved as under clouds. Neither where it was seen too little."""
    whole = ~seen.turning & np.concatenate([[False], ~seen.turning[:-1]])
    with np.errstate(invalid="ignore", divide="ignore"):
        volts = seen.rows["pv_voltage_v"] / seen.expected.mpp_voltage_v
    whole &= np.isfinite(volts)
    sums = [
        np.cumsum(np.where(whole, power, 0.0))
        for power in (1.0, np.where(whole, volts, 0.0), np.where(whole, volts, 0.0) ** 2)
    ]
    rows, total, squares = (column[last] - column[first] for column in sums)
    mean = total / np.maximum(rows, 1.0)
    spread = np.sqrt(np.maximum(squares / np.maximum(rows, 1.0) - mean**2, 0.0))
    known = rows >= LIMITS.open_rows
    return known & (spread <= LIMITS.open_spread * mean), known & (spread > LIMITS.open_spread * mean)


def _unevenness(
    seen: Columns, starts: np.ndarray, rests: np.ndarray, places: np.ndarray, count: int, stood: bool = False
) -> np.ndarray:
    """By stretch of `count` starts from `places` on: standard deviation over mean of how long its runs lasted; `stood`: before each start it stood."""
    stands = np.flatnonzero(rests)
    lasted_ms = seen.time_ms[stands[np.searchsorted(stands, starts[:-1])]] - seen.time_ms[starts[:-1]]
    if stood:
        ran = last_where(~rests)
        lasted_ms = seen.time_ms[starts[1:]] - seen.time_ms[ran[starts[1:] - 1]]
    runs = lasted_ms[places[:, None] + np.arange(count - 1)].astype(float)
    row_ms = seen.dt_h[starts[places]] * HOUR_MS
    spread = np.maximum(runs.var(axis=1) - row_ms**2 / 6.0, 0.0)  # both ends fall anywhere within a row
    return np.asarray(np.sqrt(spread) / runs.mean(axis=1))


def _free(seen: Columns) -> np.ndarray:
    """Rows in which nothing told it to stand. Where no sensor reads the sun, a sky that is only supposed does not say that it was too little."""
    rows = seen.rows
    with np.errstate(invalid="ignore"):
        told = told_to_stand(rows) | (rows["low_level_probe_wet"] < 0.5)
    return np.asarray(seen.asked | ~(seen.expected.poa_measured | seen.sun_enough | told | seen.unread))


def free_rows(view: DayView, seen: Columns) -> np.ndarray:
    """Likewise; a float that chatters tells of no full tank. `seen`: the view's own."""
    return view.once("free-rows", lambda: _free(seen) | chatters(plant_of(view.facts), seen))


def chatters(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows in which the float was up for too short, or after too short a run, for the tank's level to have moved from one of its switching points to the other. bool[n]

    Waves, wind, or a cable that is too short. A stretch counts once it is over, so that a later row changes nothing.
    """
    up = seen.rows["tank_float_up"] > 0.5
    if not up.any():
        return up
    begins = up & ~np.concatenate([[False], up[:-1]])
    stretch = np.cumsum(begins)
    up_h = np.bincount(stretch, np.where(up, seen.dt_h, 0.0))
    rests = ~seen.turning | paused_rows(seen)
    ran = np.maximum.accumulate(np.where(rests, -1, np.arange(len(up))))[begins]
    short = np.concatenate([[False], (ran >= 0) & short_runs(plant, seen, rests)[ran]])
    moves = LIMITS.float_share * plant.facts.tank.capacity_m3
    short |= LIMITS.drawn * up_h * plant.full_flow_m3_h < moves
    if up[-1]:
        short[-1] = False
    return np.asarray(up & short[stretch] & seen.sun_enough & ~seen.unread & ~told_off(seen.rows))


def unexplained_starts(view: DayView, seen: Columns) -> tuple[np.ndarray, np.ndarray]:
    """Rows at which the pump starts again after a stop that nothing explains, and the rows stood still. `seen`: the view's own."""
    return view.once(
        "unexplained-starts", lambda: starts_of(view, seen, free_rows(view, seen), ~seen.turning | paused_rows(seen))
    )


def paused_rows(seen: Columns) -> np.ndarray:
    """Rows that turn on average and yet hold a stop: the controller says at their end that it rests, or the load let go while it was bright. bool[n]

    A cloud takes the voltage down with the power; a pump that gasps keeps its speed.
    """
    found = stopped_within(seen.turning, seen.driven, seen.day)
    if len(found):
        volts, power, speed = seen.rows["pv_voltage_v"], seen.power_w, seen.speed_rpm
        with np.errstate(invalid="ignore"):
            let_go = (power[1:] < LIMITS.fell * power[:-1]) & (volts[1:] > LIMITS.freed * volts[:-1])
            let_go &= seen.turning[1:] & seen.turning[:-1] & (seen.dt_h[1:] > 0)
            found[1:] |= let_go & ~(speed[1:] >= LIMITS.fell * speed[:-1])
    return found


def starts_of(view: DayView, seen: Columns, free: np.ndarray, rests: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Likewise, where in the rows that are not `free` something told it to stand; `rests`: rows in which it stood."""
    plant = plant_of(view.facts)
    offered = seen.expected.mpp_power_w > LIMITS.sun_share * plant.full_power_w
    with np.errstate(invalid="ignore"):
        code = seen.rows["fault_code"] > 0
    close = (seen.dt_h > 0) & (seen.dt_h <= LIMITS.row_ms / HOUR_MS)
    idle = free & offered & rests & ~code & close
    if not seen.expected.poa_measured.all():
        idle &= seen.expected.poa_measured | _bright(seen)
    begins = np.flatnonzero(~rests[1:] & rests[:-1] & idle[:-1]) + 1
    place = np.arange(len(seen))
    ran = np.maximum.accumulate(np.where(rests, -1, place))
    sun = seen.expected.mpp_power_w
    dark = seen.expected.poa_measured & ~offered
    dark[1:] |= rests[1:] & seen.turning[1:] & seen.expected.poa_measured[1:] & ~(sun[1:] > LIMITS.keeps * sun[:-1])
    told = np.maximum.accumulate(np.where(~free | code | dark | _heated(plant, seen), place, -1))
    begins = begins[told[begins - 1] < ran[begins - 1]]  # from its last running row on nothing told it to stand
    stops = ran[begins - 1]
    told_of = seen.expected.poa_measured[stops]
    if not told_of.all():
        took = or_zero(np.fmax(seen.power_w[stops], seen.power_w[np.maximum(stops - 1, 0)]))
        told_of |= strong_rows(seen, own_full(plant, seen))[stops] & (took > LIMITS.above_start * plant.start_power_w)
    return begins[(stops > 0) & told_of], idle


def _starts(view: DayView, seen: Columns) -> tuple[np.ndarray, np.ndarray]:
    """Likewise, after runs that a float's own switching distance does not explain."""
    plant = plant_of(view.facts)
    begins, idle = unexplained_starts(view, seen)
    rests = ~seen.turning | paused_rows(seen)
    stops = np.maximum.accumulate(np.where(rests, -1, np.arange(len(seen))))[begins - 1]
    real = ~tries_of(seen)[stops]  # of those in vain `not-turning` tells
    real &= ~between_tries(plant, seen)[begins - 1]  # of those against a shut pipe `no-water`
    real &= ~gives_up(plant, seen).tries[stops]
    begins, stops = begins[real], stops[real]
    if "tank_float_up" not in plant.has:
        stood_h = (seen.time_ms[begins] - seen.time_ms[stops]) / HOUR_MS
        brief = LIMITS.drawn * stood_h * plant.full_flow_m3_h < LIMITS.float_share * plant.facts.tank.capacity_m3
        begins = begins[short_runs(plant, seen, rests)[stops] | brief]
    return begins, idle


def _heated(plant: Plant, seen: Columns) -> np.ndarray:
    """Rows in which a hot controller holds the power far down: the heat explains a stop that follows."""
    with np.errstate(invalid="ignore"):
        hot = seen.rows["controller_temp_c"] > LIMITS.hot_c
    return hot & seen.held & ~strong_rows(seen, full_w(plant, seen)) if hot.any() else hot


def _bright(seen: Columns) -> np.ndarray:
    """Without an irradiance sensor: the array's own open-circuit voltage, where it is read, says that it is bright."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return ~(seen.rows["pv_voltage_v"] / seen.expected.mpp_voltage_v <= 1.12)


def _clouded(view: DayView, seen: Columns, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """By stretch of rows, `first` to `last`: no sensor reads the sun, and while it ran clouds took the power down and gave it back.

    The edge of a cloud passes within a minute, so that the last row before a stop may still be a strong one; but clouds that stop a
    pump also pass without stopping it. A loose contact leaves the power of each run as the clear sky has it. A run's first row
    holds its start.
    """
    plant = plant_of(view.facts)
    full = own_full(plant, seen)
    runs = seen.turning & ~paused_rows(seen)
    within = runs & np.concatenate([[False], runs[:-1]]) & ~seen.expected.poa_measured
    ran = np.cumsum(within)
    weak = np.cumsum(within & (np.nan_to_num(seen.power_w) < STRONG * full))
    return weak[last] - weak[first] > LIMITS.clouded * (ran[last] - ran[first])


def short_runs(plant: Plant, seen: Columns, rests: np.ndarray) -> np.ndarray:
    """Rows up to which the run was too short to lift the tank from one switching point of a float to the other."""
    lifted = np.cumsum(np.where(seen.turning, seen.dt_h, 0.0) * plant.full_flow_m3_h)
    before = np.maximum.accumulate(np.where(rests, lifted, 0.0))
    return lifted - before < LIMITS.float_share * plant.facts.tank.capacity_m3


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    starts = round(figures.get("starts", 0.0))
    often = "once" if starts == 1 else f"{starts} times"
    return f"The pump started about {often} an hour with sun enough, tank not full and well not low."


register(
    CauseFile(
        "short-cycling",
        per_year=0.15,
        judged="minute",
        check="Stand at the controller for a quarter of an hour in full sun and see what it says when it stops.",
        advice=Advice(
            own=(
                "Look whether float or its cable moves with the waves or wind; see what the display says at each stop.",
            ),
            technician=(
                "Look at float, probe and remote-stop wires for a loose contact; at the float's switching distance.",
                "Look at the controller's start and restart settings.",
            ),
            cautions=(
                beware("Float and probe terminals may stand at array voltage: licensed people only.", "licensed"),
                NO_CLIMBING,
            ),
        ),
        evidence=evidence,
        watch=watch,
        limits=LIMITS,
    )
)
