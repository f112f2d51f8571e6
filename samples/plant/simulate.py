"""Runs a plant over whole solar days, all at once, until each day begins as the one before it ended.

Flow: plant, faults' effects, days -> HERE -> `Lived` -> electric.py, sensors.py, truth.py.
A day hands on to the next only what outlives a night (recovery, tank, column), so a few passes settle it.
Never: sensors.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from samples.plant.array import Supply, supply
from samples.plant.drawn import Plant
from samples.plant.effects import Effects
from samples.plant.night import through_night
from samples.plant.run import Run, Scene, blank, run_steps
from samples.plant.sky import Sky, make_sky
from samples.plant.state import State, fresh
from samples.plant.streams import day_normals, stream
from samples.plant.well import TIME_CONSTANTS_S

Floats = NDArray[np.float64]
EffectsOf = Callable[[Plant, Sky], Effects]
TOLERANCE = 1e-3  # m and m3
PASSES_MAX = 5
LEAST_POWER_W = 1.0


@dataclass
class Lived:
    """What happened over the days. `begins`: state at each day's start; `ends`: at its end."""

    plant: Plant
    days: NDArray[np.int64]
    step_s: int
    scene: Scene
    run: Run
    begins: State
    ends: State
    passes: int

    @property
    def sky(self) -> Sky:
        return self.scene.sky

    @property
    def offer(self) -> Supply:
        return self.scene.offer


def set_scene(plant: Plant, days: NDArray[np.int64], step_s: int, effects_of: EffectsOf | None = None) -> Scene:
    """Sky, array and effects over `days`, in steps of `step_s` (divides 86400)."""
    sky = make_sky(plant.facts, plant.climate, plant.landscape_seed, plant.seed, days, step_s)
    effects = Effects() if effects_of is None else effects_of(plant, sky)
    draw = water_drawn(plant, sky, days) * np.asarray(effects["use"])
    return Scene(
        plant, sky, supply(plant.panels, sky, effects), effects, plant.well.resting_m(sky.unix_s), draw,
        _gasps(plant.seed, days, sky.second), float(step_s),
    )  # fmt: skip


def water_drawn(plant: Plant, sky: Sky, days: NDArray[np.int64]) -> Floats:
    """What herd and household take, m3/h: a morning and an evening peak, and a little all day."""
    habits = plant.habits
    hour = sky.second[:, None] / 3600.0
    early = np.exp(-(((hour - 7.5) / 1.3) ** 2)) / (1.3 * np.sqrt(np.pi))
    late = np.exp(-(((hour - 17.0) / 1.6) ** 2)) / (1.6 * np.sqrt(np.pi))
    even = np.where((hour > 6) & (hour < 20), 1 / 14.0, 0.0)
    shape = habits.morning * early + habits.evening * late + (1 - habits.morning - habits.evening) * even
    of_day = np.exp(habits.spread * day_normals(plant.seed, "draw", days, 1)[:, 0])
    return habits.m3_day * shape * of_day


def _gasps(seed: int, days: NDArray[np.int64], second: Floats) -> Floats:
    """Noise 0..1 that changes every half minute, (steps, days)."""
    noise = np.array([stream(seed, "gasp", int(day)).random(2881) ** 2 for day in days])
    return noise[:, np.minimum((second / 30.0).astype(int), 2880)].T


def sunny_steps(scene: Scene) -> range:
    """From the first to the last step of the day in which any day has power."""
    lit = np.flatnonzero((scene.offer.open_v > 0).any(axis=1))
    return range(int(lit[0]), min(int(lit[-1]) + 2, len(scene.sky.second))) if len(lit) else range(0)


def live_day(scene: Scene, begin: State, run: Run, lanes: NDArray[np.int64]) -> State:
    """Whole days from their beginning states; returns the states at their ends."""
    steps = sunny_steps(scene)
    state = through_night(scene, begin, run, lanes, range(steps.start)).after_night()
    run_steps(scene, state, run, lanes, steps)
    return through_night(scene, state, run, lanes, range(steps.stop, len(scene.sky.second)))


def live(scene: Scene, days: NDArray[np.int64], first: State | None = None) -> Lived:
    """All days, each beginning as the one before it ended; `first` begins the first."""
    plant, count = scene.plant, len(days)
    capacity = plant.facts.tank.capacity_m3
    begins = fresh(count, len(TIME_CONSTANTS_S), 0.5 * capacity)
    if first is not None:
        begins.put(np.arange(1), first)
    ends, run = begins.take(np.arange(count)), blank(scene.sky.unix_s.shape)
    again, passes = np.arange(count), 0
    while len(again) and passes < min(PASSES_MAX, count + 1):
        ends.put(again, live_day(scene, begins.take(again), run, again))
        passes += 1
        wanted = _handed_on(begins, ends, run, capacity)
        differs = wanted.moved(begins, np.arange(count), TOLERANCE)
        again = np.flatnonzero(differs)
        if passes < min(PASSES_MAX, count + 1):
            begins.put(again, wanted.take(again))
    _join_nights(run, begins, ends, sunny_steps(scene))
    return Lived(plant, days, int(scene.step_s), scene, run, begins, ends, passes)


def _join_nights(run: Run, begins: State, ends: State, sunny: range) -> None:
    """What is left between a day's end and the next one's beginning is put down to the evening's draw from the tank.

    A tank that fills or runs empty every day makes the order of its float's switching chaotic, so the passes stop
    before it is exact; the level moves by some hundred litres in the night, drawn a little more or less.
    """
    last = len(run.tank_m3) - 1
    left = np.append(begins.tank_m3[1:] - ends.tank_m3[:-1], 0.0)
    ramp = np.linspace(0.0, 1.0, last - sunny.stop + 2)[1:, None] if sunny.stop <= last else np.ones((1, 1))
    first = min(sunny.stop, last)
    run.tank_m3[first:] += ramp * left
    run.drawn_m3[first:] -= np.diff(ramp, axis=0, prepend=0.0) * left
    ends.tank_m3 += left


def _handed_on(begins: State, ends: State, run: Run, capacity: float) -> State:
    """What each day should begin with, given what the days made of their beginnings in the pass before.

    Wells and tank are carried through all days at once (decay and gain of each day), so that a shift does not creep
    on by one day a pass. A tank that was full or empty in a day forgets how it began.
    """
    forgets = np.logical_or((run.float_up > 0.5).any(axis=0), (run.tank_m3 <= 1e-9).any(axis=0))
    count = len(begins.tank_m3)
    wanted = begins.take(np.arange(count))
    later = np.arange(1, count)
    wanted.put(later, ends.take(later - 1))
    net = ends.tank_m3 - begins.tank_m3
    keep = np.exp(-86400.0 / TIME_CONSTANTS_S)
    gain = ends.wells - begins.wells * keep[:, None]
    tank, wells = float(begins.tank_m3[0]), begins.wells[:, 0]
    for day in range(count):
        wanted.tank_m3[day], wanted.wells[:, day] = tank, wells
        wells = wells * keep + gain[:, day]
        exact = forgets[day] or abs(tank - begins.tank_m3[day]) < TOLERANCE
        tank = float(ends.tank_m3[day]) if exact else min(max(tank + float(net[day]), 0.0), 1.02 * capacity)
    return wanted
