"""The pump behind a datasheet's table: the parameters of helical.py or centrifugal.py that give its rows.

Flow: site facts -> HERE -> run.py. A table from elsewhere is met as well as the form allows.
Never: tolerance of the individual pump (drawn.py).
"""

from typing import Any

import numpy as np
from scipy.optimize import least_squares

from logger.record.site_facts import SiteFacts
from samples.plant.centrifugal import Centrifugal
from samples.plant.effects import HEALTHY
from samples.plant.helical import RHO_G, Helical
from samples.plant.motor import Motor

Pump = Helical | Centrifugal


def _columns(facts: SiteFacts) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    rows = [row for row in facts.pump.curve if row.flow_m3_h > 0]
    if len(rows) < 2:
        raise ValueError("the pump's table needs two rows with flow or more")
    speed = [np.nan if row.speed_rpm is None else row.speed_rpm for row in rows]
    return (
        np.array([r.head_m for r in rows], float), np.array([r.flow_m3_h for r in rows], float),
        np.array([r.power_w for r in rows], float), np.array(speed, float),
    )  # fmt: skip


def _input_w(motor: Motor, facts: SiteFacts, torque: np.ndarray, rpm: np.ndarray) -> np.ndarray:
    at_terminals = facts.pump.curve_power_at == "motor-terminals"
    bare: Any = {**HEALTHY, "motor_ohm": -motor.cable_ohm}  # datasheets are measured on a short cable
    return motor.input_w(torque, rpm, bare, at_terminals)


def _speed_misfit(rpm: np.ndarray, given: np.ndarray, rated: float) -> np.ndarray:
    known = np.isfinite(given)
    if known.any():
        return 3.0 * np.log(rpm[known] / given[known])
    return np.array([3.0 * np.log(rpm.max() / rated)])


def helical_of(facts: SiteFacts, motor: Motor) -> Helical:
    """The helical rotor of the table."""
    head, flow, power, speed = _columns(facts)
    litre = 1.06 * flow.max() / (0.06 * motor.rated_rpm)

    def parts(log_values: np.ndarray) -> tuple[float, float, float, float, float]:
        return tuple(np.exp(log_values))  # type: ignore[return-value]

    def misfit(log_values: np.ndarray) -> np.ndarray:
        turn, slip, tight, rub, drag = parts(log_values)
        rpm = (flow + slip * np.maximum(head - tight, 0.0)) / (0.06 * turn)
        torque = turn / 1000.0 * RHO_G * head / (2 * np.pi) + rub + drag * rpm / 1000.0
        shape = np.array([0.01 * np.log(tight / (0.2 * head.max()))])
        off = np.log(_input_w(motor, facts, torque, rpm) / power)
        return np.concatenate([off, _speed_misfit(rpm, speed, motor.rated_rpm), shape])

    guess = [litre, 0.06 * flow.max() / head.max(), 0.2 * head.max(), 0.08 * motor.rated_nm, 0.02 * motor.rated_nm]
    low = [litre * 0.6, 1e-5, 0.01, 1e-4 * motor.rated_nm, 1e-5 * motor.rated_nm]
    high = [litre * 1.6, 0.6 * flow.max() / head.max(), 0.9 * head.max(), 0.5 * motor.rated_nm, 0.3 * motor.rated_nm]
    found = least_squares(misfit, np.log(guess), bounds=(np.log(low), np.log(high)))
    turn, slip, tight, rub, drag = parts(found.x)
    return Helical(turn, slip, tight, rub, drag, float(flow.max()), float(head.max()), 1.7 * float(head.max()))


def centrifugal_of(facts: SiteFacts, motor: Motor) -> Centrifugal:
    """The impellers of the table, at the motor's rated speed."""
    head, flow, power, speed = _columns(facts)
    most = float(flow.max())
    shaft = 0.8 * float(power.max())

    def pump(values: np.ndarray) -> Centrifugal:
        h0, h1, h2, p0, p1, p2 = values
        return Centrifugal(
            h0 * head.max(), h1 * head.max() / most, h2 * head.max() / most**2,
            p0 * shaft, p1 * shaft / most, p2 * shaft / most**2, motor.rated_rpm, most,
        )  # fmt: skip

    def misfit(values: np.ndarray) -> np.ndarray:
        p = pump(values)
        share = (p.h1 * flow + np.sqrt(p.h1**2 * flow**2 + 4 * p.h0 * (head + p.h2 * flow**2))) / (2 * p.h0)
        work = p.p0 * share**3 + p.p1 * share**2 * flow + p.p2 * share * flow**2
        rpm = share * motor.rated_rpm
        torque = np.maximum(work, 1.0) / (rpm * np.pi / 30.0)
        off = np.log(_input_w(motor, facts, torque, rpm) / power)
        return np.concatenate([off, _speed_misfit(rpm, speed, motor.rated_rpm), 0.003 * (values - guess)])

    guess = np.array([1.5, 0.1, 0.7, 0.5, 0.7, -0.2])
    bounds = ([1.0, 0.0, 0.05, 0.1, 0.0, -1.5], [4.0, 2.0, 4.0, 1.5, 2.5, 0.5])
    return pump(least_squares(misfit, guess, bounds=bounds).x)


def pump_of(facts: SiteFacts, motor: Motor) -> Pump:
    """The pump that the site file describes."""
    return helical_of(facts, motor) if facts.pump.kind == "helical-rotor" else centrifugal_of(facts, motor)
