"""Rows as a bench brings them: noisy, few, uneven, at two speeds, by frequency; and speeds outside the table's.

Synthetic pumps, labelled so, of other forms than the tests beside it: head falls with a power of the flow, perhaps humped; shaft power a cubic; motor
and drive lose by load and speed.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from analysis.physics import Reason, fit_curve

KINDS = ("shaft", "motor", "drive")


@dataclass(frozen=True)
class Drawn:
    """Reduced by the flow, head and speed of its best point."""

    flow: float
    head: float
    efficiency: float
    shut_off: float
    fall: float
    hump: float
    at_rest: float
    bend: tuple[float, float]
    slow_loss: float
    measured_at: str

    def at(self, x, share):
        """Flow, head and power at relative speed x and share of the best flow at this speed."""
        head = (
            self.shut_off + self.hump * np.sin(np.pi * np.minimum(share, 1.0)) - (self.shut_off - 1) * share**self.fall
        )
        full = 2.725 * self.flow * self.head / self.efficiency
        two, three = self.bend
        load = self.at_rest + (1 - self.at_rest - two - three) * share + two * share**2 + three * share**3
        power = full * (0.96 * x**3 * load * (1 + self.slow_loss * (1 - x)) + 0.04 * x**1.5)
        if self.measured_at != "shaft":
            torque = power / x / full / 1.2
            power = power + 0.2 * full * (0.45 * torque**2 + 0.25 * x**1.5 + 0.1 + 0.1 * torque)
        if self.measured_at == "drive":
            power = 1.03 * power + 0.015 * full
        return self.flow * share * x, self.head * x**2 * head, power


def drawn(seed):
    rng = np.random.default_rng([7, seed])
    flow = 10 ** rng.uniform(
        0.2, 2.0
    )  # from a small borehole pump to a large one: the larger the better (IEC and ISO practice)
    return Drawn(
        flow, rng.uniform(20, 250), 0.42 + 0.12 * np.log10(flow), rng.uniform(1.15, 1.5), rng.uniform(1.7, 2.8),
        rng.choice([0.0, 0.04]), rng.uniform(0.42, 0.6), (rng.uniform(-0.3, 0.1), rng.normal(0, 0.05)), rng.uniform(0, 0.06),
        KINDS[seed % 3],
    )  # fmt: skip


def measured(pump, rng, speeds, rows, noise):
    """Rows of each speed in turn: the flow swept unevenly from a shut valve, other shares each time."""
    blocks = []
    for x in speeds:
        count = int(rng.integers(rows[0], rows[1] + 1))
        share = np.linspace(0.0, 1.3, count) + np.r_[0.0, rng.uniform(-0.4, 0.4, count - 1) * 1.3 / count]
        flow, head, power = pump.at(x, share)
        blocks.append(np.column_stack([np.full(count, 2900 * x), flow, head, power]))
    table = np.vstack(blocks)
    table[:, 1:] *= 1 + noise * rng.standard_normal((len(table), 3))
    return dict(zip(("speed_rpm", "flow_m3_h", "head_m", "power_w"), table.T, strict=True))


FAMILIES = {  # relative speeds of the table, rows a speed, noise, speed asked for, bounds in the median (head, power, flow). Where the curve is flat, a head read 2 % wrong
    # moves the flow by far more: there the flow from a head is known no better
    "four speeds, 1 %": ((0.5, 0.65, 0.9, 1.0), (6, 8), 0.01, 0.8, (0.005, 0.005, 0.018)),
    "four speeds, 2 %, three to seven rows": ((0.5, 0.65, 0.9, 1.0), (3, 7), 0.02, 0.8, (0.01, 0.012, 0.032)),
    "two speeds, 1 %": ((0.6, 1.0), (5, 7), 0.01, 0.8, (0.009, 0.011, 0.018)),
    "two speeds, exact": ((0.5, 1.0), (7, 7), 0.0, 0.75, (0.002, 0.008, 0.002)),
}


@pytest.mark.parametrize("family", FAMILIES)
def test_a_speed_left_out_is_predicted_from_raw_rows(family):
    speeds, rows, noise, asked, bounds = FAMILIES[family]
    errors = {"head": [], "power": [], "flow": []}
    for seed in range(24):
        pump = drawn(seed)
        model = fit_curve(measured(pump, np.random.default_rng(seed), speeds, rows, noise), "multistage-centrifugal")
        flow, head, power = pump.at(asked, np.linspace(0.15, 1.2, 12))
        errors["head"].append(model.head(2900 * asked, flow) / head - 1)
        errors["power"].append(model.power(2900 * asked, flow) / power - 1)
        errors["flow"].append(model.flow(2900 * asked, head) / flow - 1)
    medians = {name: float(np.nanmedian(np.abs(parts))) for name, parts in errors.items()}
    print(family, {name: f"{value:.2%}" for name, value in medians.items()})
    assert all(medians[name] < bound for name, bound in zip(errors, bounds, strict=True)), medians
    assert np.isnan(errors["flow"]).mean() < 0.02, "speeds within the table's are to be answered"


@pytest.mark.parametrize("seed", range(6))
def test_raw_rows_make_no_impossible_pump(seed):
    """Few rows, 2 % noise: head falls but for a hump near shut-off, flow and power rise with speed, no energy is made."""
    pump = drawn(seed)
    model = fit_curve(measured(pump, np.random.default_rng(seed), (0.6, 1.0), (4, 5), 0.02), "multistage-centrifugal")
    speeds = np.linspace(0.5, 1.1, 40) * 2900
    for head in np.linspace(0.3, 1.2, 7) * pump.head:
        for values in (model.flow(speeds, head), model.power_of_speed(speeds, head)):
            assert (np.diff(values[np.isfinite(values)]) > -1e-6).all()
    for speed in speeds[::8]:
        head = model.head(speed, np.linspace(0.3, 1.2, 30) * pump.flow * speed / 2900)
        assert (np.diff(head[np.isfinite(head)]) < 0.005 * head[0]).all()
        flow = model.flow(speed, np.linspace(0.05, 1.6, 30) * pump.head)
        assert (np.diff(flow[np.isfinite(flow)]) <= 1e-9).all()


def test_a_bench_that_noted_the_frequency_is_the_same_pump():
    rows = measured(drawn(1), np.random.default_rng(1), (0.6, 0.8, 1.0), (6, 6), 0.01)
    by_hertz = {name: column for name, column in rows.items() if name != "speed_rpm"}
    by_hertz["drive_frequency_hz"] = [None if n == 0 else n / 60.0 for n in rows["speed_rpm"]]
    one, other = (fit_curve(form, "multistage-centrifugal") for form in (rows, by_hertz))
    assert float(one.head(2600, 1.0)) == pytest.approx(float(other.head(2600, 1.0)), rel=1e-9)
    with pytest.raises(ValueError, match="not both"):
        fit_curve(rows | {"drive_frequency_hz": by_hertz["drive_frequency_hz"]}, "multistage-centrifugal")
    with pytest.raises(ValueError, match="1/min"):
        fit_curve(by_hertz | {"drive_frequency_hz": rows["speed_rpm"]}, "multistage-centrifugal")


def test_speeds_far_outside_the_table_have_no_answer_but_a_reason():
    pump = drawn(2)
    model = fit_curve(measured(pump, np.random.default_rng(2), (0.6, 1.0), (6, 6), 0.01), "multistage-centrifugal")
    asked = np.array([0.2, 0.5, 1.1, 1.3]) * 2900
    for method in ("head", "power"):
        answer = model.answer(method, asked, 0.1 * pump.flow)
        assert [Reason(int(code)).name for code in answer.reason] == ["TOO_SLOW", "OK", "OK", "TOO_FAST"]
        assert (np.isnan(answer.value) == [True, False, False, True]).all()
        inside = model.answer(method, 0.8 * 2900, 0.1 * pump.flow)
        assert answer.fit_std[1] / answer.value[1] > inside.fit_std / inside.value, (
            "further from the rows, surely less known"
        )


def test_a_speed_in_another_unit_than_its_fellows_is_told_by_its_row():
    rows = measured(drawn(3), np.random.default_rng(3), (0.6, 1.0), (6, 6), 0.01)
    rows["speed_rpm"][4] /= 60.0
    with pytest.raises(ValueError, match=r"curve\[5\].speed_rpm: .* Hz"):
        fit_curve(rows, "multistage-centrifugal")
