"""One plant that runs on from its history, step by step, up to any instant asked for.

Flow: scenario.py, hand_over.json -> HERE -> values by channel -> controller_server.py, text_printer.py.
The same physics as a season's, one day wide. Never: ports, clocks.
"""

from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from samples.faults import Fault, effects_of, weight
from samples.plant.array import supply
from samples.plant.drawn import draw_plant
from samples.plant.night import through_night
from samples.plant.run import blank, run_steps
from samples.plant.sensors import CLASSES, FLAGS, biases, read, sick, true_values
from samples.plant.simulate import Lived, set_scene, sunny_steps, water_drawn
from samples.plant.sky import day_origin_s
from samples.plant.state import State, fresh
from samples.plant.streams import stream
from samples.plant.well import TIME_CONSTANTS_S
from samples.scenario import SampleSite
from samples.season import REGISTER_FACTOR_SPREAD, how_sick

STEP_S = 10
LANE = np.arange(1)
ALL = (
    "pv_voltage_v", "pv_current_a", "input_power_w", "motor_current_a", "motor_voltage_v", "drive_frequency_hz",
    "motor_speed_rpm", "controller_temp_c", "motor_running", "switched_on", "low_level_probe_wet", "tank_float_up",
    "fault_code", "flow_m3_h", "discharge_pressure_bar", "water_level_m", "irradiance_w_m2", "module_temp_c",
    "ambient_temp_c", "tank_level_m", "speed_setting_pct",
)  # fmt: skip
DRIVE_OWN = (
    "pv_voltage_v", "pv_current_a", "input_power_w", "motor_current_a", "motor_voltage_v", "drive_frequency_hz",
    "motor_speed_rpm", "controller_temp_c", "motor_running", "switched_on", "fault_code", "speed_setting_pct",
)  # fmt: skip
"""What every controller knows of itself; the rest only where the sensor is fitted."""


class LivePlant:
    """`site` from `start_s` (seconds since 1970) on; `held`: (state, day, volume) of its history, None = begin fresh."""

    def __init__(self, site: SampleSite, start_s: float, held: tuple[State, int, float] | None = None):
        self.site = site
        self.plant = draw_plant(site.facts, site.seed, site.likeness)
        self.faults: list[Fault] = list(site.faults)
        self._fitted = set(site.facts.sensors.channels) | set(DRIVE_OWN)
        self._off = biases(site.seed, ALL)
        rng = stream(site.seed, "meter")
        self._meter_factor = 1.0 + REGISTER_FACTOR_SPREAD * float(np.clip(rng.normal(0, 0.5), -1, 1))
        self.volume_m3 = float(rng.uniform(50, 4000))
        self._origin = day_origin_s(site.facts.site.longitude_deg)
        self._noise: dict[str, NDArray[np.float64]] = {}
        self._stuck: dict[str, float] = {}
        self._last: dict[str, float] = {}
        day = int((start_s - self._origin) // 86400)
        tank = 0.5 * site.facts.tank.capacity_m3
        self._state = fresh(1, len(TIME_CONSTANTS_S), tank) if held is None else held[0]
        self._begin_day(day)
        self._run_to(int((start_s - self._day_start) // STEP_S))
        if held is not None:
            self.volume_m3 = held[2]

    @property
    def now_s(self) -> float:
        """The instant that the plant has reached. Seconds since 1970."""
        return self._day_start + self._done * STEP_S

    def advance(self, to_s: float) -> None:
        """Run up to `to_s`; never back."""
        while True:
            rest = int((to_s - self._day_start) // STEP_S)
            if rest <= self._done:
                return
            self._run_to(min(rest, self._steps))
            if self._done >= self._steps:
                self._begin_day(self._day + 1)

    def switch_on(self, cause: str, severity: float | None = None, **more: Any) -> Fault:
        """A fault from this instant on. ValueError: no such cause."""
        begins = datetime.fromtimestamp(self.now_s, UTC)
        usual = {"dry-running": 1.0, "controller-trip": 3.0, "short-cycling": 12.0, "controller-derating": 45.0,
                 "falling-water-level": 6.0, "over-voltage": 1.0, "string-out": 1.0}  # fmt: skip
        size = usual.get(cause, 0.3) if severity is None else severity
        fault = Fault(cause, begins, None, size, more.pop("part", None), more.pop("channel", None), options=more)
        self.faults.append(fault)
        self._rethink()
        return fault

    def clear(self) -> int:
        """End every fault now; how many ended."""
        ends = datetime.fromtimestamp(self.now_s, UTC)
        open_ones = [fault for fault in self.faults if fault.ends is None or fault.ends > ends]
        kept = [fault for fault in self.faults if fault not in open_ones and fault.ends is not None]
        self.faults = kept + [replace(fault, ends=ends) for fault in open_ones if fault.begins < ends]
        self._rethink()
        return len(open_ones)

    def values(self) -> dict[str, float | None]:
        """What the controller and its input board read now, by channel; None = no such sensor."""
        place = max(self._done - 1, 0)
        row = _sliced(self._lived, place, self._steps)
        true = true_values(row)
        now = np.array([self.now_s])
        found: dict[str, float | None] = {}
        for name in ALL:
            if name not in self._fitted:
                found[name] = None
            elif name in FLAGS:
                found[name] = float(true[name][0, 0])
            else:
                noise = self._noise_of(name)[place : place + 1, None]
                value = read(name, true[name], self.site.seed, np.array([self._day]), self._off[name], noise)
                found[name] = self._as_sick(name, value.ravel(), now)
        step = self.site.facts.sensors.meter_step_m3 or 0.01
        found["volume_m3"] = round(float(np.floor(self.volume_m3 / step + 1e-9) * step), 4)
        return found

    def _as_sick(self, name: str, value: NDArray[np.float64], now: NDArray[np.float64]) -> float | None:
        for fault in self.faults:
            if fault.cause == "sensor-fault" and fault.channel == name and weight(fault, now)[0] > 0:
                how = how_sick(fault)
                if how["mode"] == "stuck" and how["value"] is None:
                    how["value"] = self._stuck.setdefault(name, self._last.get(name, float(value[0])))
                value = sick(name, value, how, now, CLASSES[name].step)
        self._last[name] = float(value[0])
        return None if np.isnan(value[0]) else round(float(value[0]), 4)

    def _noise_of(self, name: str) -> NDArray[np.float64]:
        if name not in self._noise:
            self._noise[name] = stream(self.site.seed, f"noise {name}", self._day).standard_normal(self._steps)
        return self._noise[name]

    def _begin_day(self, day: int) -> None:
        self._day, self._done = day, 0
        self._day_start = self._origin + day * 86400.0
        self._scene = set_scene(self.plant, np.array([day]), STEP_S, effects_of(self.faults))
        self._steps = len(self._scene.sky.second)
        self._sunny = sunny_steps(self._scene)
        self._run = blank(self._scene.sky.unix_s.shape)
        self._noise = {}
        self._lived = Lived(self.plant, np.array([day]), STEP_S, self._scene, self._run, self._state, self._state, 1)

    def _rethink(self) -> None:
        """The day's remaining steps with the faults as they now are."""
        effects = effects_of(self.faults)(self.plant, self._scene.sky)
        draw = water_drawn(self.plant, self._scene.sky, np.array([self._day])) * np.asarray(effects["use"])
        offer = supply(self.plant.panels, self._scene.sky, effects)
        self._scene = replace(self._scene, effects=effects, offer=offer, draw_m3_h=draw)
        self._lived = replace(self._lived, scene=self._scene)

    def _run_to(self, end: int) -> None:
        """Steps of this day up to `end` (left out)."""
        for part, sunny in self._parts(end):
            if sunny:
                if part.start == self._sunny.start:
                    self._state = self._state.after_night()
                run_steps(self._scene, self._state, self._run, LANE, part)
            else:
                self._state = through_night(self._scene, self._state, self._run, LANE, part)
            counted = self._run.flow[part.start : part.stop, 0] * self._meter_share(part)
            self.volume_m3 += float(counted.sum()) * STEP_S / 3600.0 * self._meter_factor
        self._done = max(self._done, end)

    def _meter_share(self, part: range) -> NDArray[np.float64]:
        """What a failing meter still counts."""
        time_s = self._scene.sky.unix_s[part.start : part.stop, 0]
        share = np.ones(len(time_s))
        for fault in self.faults:
            if fault.cause == "sensor-fault" and fault.channel in ("volume_m3", "flow_m3_h"):
                mode = fault.options.get("mode", "dead")
                left = 1 - fault.severity if mode == "under-reading" else 0.0
                share = np.where(weight(fault, time_s) > 0, share * left, share)
        return share

    def _parts(self, end: int) -> list[tuple[range, bool]]:
        edges = (0, self._sunny.start, self._sunny.stop, self._steps)
        found = []
        for index, (low, high) in enumerate(zip(edges, edges[1:], strict=False)):
            part = range(max(low, self._done), min(high, end))
            if len(part):
                found.append((part, index == 1))
        return found


def _sliced(thing: Any, place: int, steps: int) -> Any:
    """The same record with only one step in it."""
    if isinstance(thing, np.ndarray):
        return thing[place : place + 1] if thing.ndim and thing.shape[0] == steps else thing
    if type(thing).__name__ == "Effects":
        return thing.sliced(place, steps)
    if is_dataclass(thing) and type(thing).__name__ in ("Lived", "Scene", "Run", "Sky", "Supply"):
        return replace(thing, **{f.name: _sliced(getattr(thing, f.name), place, steps) for f in fields(thing)})  # type: ignore[type-var]
    return thing
