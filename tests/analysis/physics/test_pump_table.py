"""A table that cannot be a pump's is refused by name: its units slipped."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.physics import fit_curve, fit_pump
from logger.record.site_facts import Cable, CurveRow, Motor, Pump

GOOD = {
    "head_m": [40.0, 40, 60, 60],
    "power_w": [333.0, 1159, 466, 1518],
    "flow_m3_h": [1.26, 5.04, 1.17, 4.95],
    "speed_rpm": [800.0, 2900, 800, 2900],
}


def changed(**columns):
    return GOOD | {name: np.asarray(values, float) for name, values in columns.items()}


REFUSED = [
    (changed(power_w=np.array(GOOD["power_w"]) / 1000), "is power_w in kW"),
    (changed(flow_m3_h=np.array(GOOD["flow_m3_h"]) * 1000 / 60), "flow_m3_h in L/min"),
    (changed(flow_m3_h=np.array(GOOD["flow_m3_h"]) / 3600), "is flow_m3_h in m3/s"),
    (changed(head_m=np.array(GOOD["head_m"]) * 3.28084), "head_m in feet"),
    (changed(flow_m3_h=[1.26, -5.04, 1.17, 4.95]), r"curve\[2\].flow_m3_h: must be a number, 0 or more"),
    (changed(power_w=[333, np.nan, np.nan, 1518]), "needs 3 rows or more"),
    (changed(power_w=[333, -1159, 466, 1518]), r"curve\[2\].power_w: must be a number, 0 or more"),
    (changed(power_w=[0, 1159, 466, 1518]), "power_w: must be above 0"),
    (changed(speed_rpm=[13, 48, 13, 48]), "is it in Hz"),
    (GOOD | {"head_m": ["40", "high", "60", "60"]}, "head_m must hold numbers"),
    (changed(head_m=[40, 40, 40, 40]), "at 2 heads or more; got 4 at 1"),
    (changed(speed_rpm=[800, 0, 800, 2900]), r"curve\[2\].speed_rpm: must be above 0"),
    (changed(speed_rpm=[800, 2900]), "speed_rpm has 2 rows, the other columns 4"),
    ({name: values[:2] for name, values in GOOD.items()}, "needs 3 rows or more"),
    (changed(head_m=[40, 60, 60]), "of one length"),
    ({"head_m": [1, 2, 3], "flow_m3_h": [1, 2, 3]}, "columns missing: \\['power_w'\\]"),
    (GOOD | {"flow_l_min": [1, 2, 3, 4]}, "not known: \\['flow_l_min'\\]"),
]


@pytest.mark.parametrize(("rows", "words"), REFUSED)
def test_refused_by_name(rows, words):
    with pytest.raises(ValueError, match=words):
        fit_curve(rows, "helical-rotor")


def test_an_unknown_kind_is_refused():
    with pytest.raises(ValueError, match="kind must be one of helical-rotor, multistage-centrifugal"):
        fit_curve(GOOD, "diaphragm")


def site_pump(at):
    rows = tuple(CurveRow(**dict(zip(GOOD, values, strict=True))) for values in zip(*GOOD.values(), strict=True))
    return Pump(kind="helical-rotor", setting_depth_m=80.0, curve_power_at=at, curve=rows)


def test_a_site_files_pump_is_the_same_pump():
    assert fit_pump(site_pump("controller-input")).flow_of_power(900, 50) == fit_curve(
        GOOD, "helical-rotor"
    ).flow_of_power(900, 50)


def test_power_at_the_motor_is_led_back_to_the_controller():
    """0.96 drive efficiency (common practice, no source) and 3 I^2 R of 95 m of 4 mm2 at 8 A: 80 W at the table's top torque."""
    plain = fit_pump(site_pump("controller-input"))
    cable = fit_pump(site_pump("motor-terminals"), Motor("permanent-magnet", 8.0, 3000.0), Cable(95, 4))
    bare = fit_pump(site_pump("motor-terminals"))
    assert bare.power_of_flow(4, 50) == pytest.approx(plain.power_of_flow(4, 50) / 0.96, rel=0.01)
    assert 20 < cable.power_of_flow(4, 50) - bare.power_of_flow(4, 50) < 85
    assert cable.spread.tolerance_power > plain.spread.tolerance_power


def test_a_datasheet_knows_nothing_of_the_depth_that_its_pump_hangs_at():
    """3 I^2 R of the cable beyond the 10 m of a maker's bench: at the table's top torque (466 W at 800 1/min) 8 A through 85 m of 4 mm2
    (IEC 60228, class 5: 4.95 ohm/km at 20 degC, 5.15 at 30) are 84 W, and the square of 0.90 of that at 60 m and 2900 1/min."""
    motor, pump = Motor("permanent-magnet", 8.0, 3000.0), site_pump("controller-input")

    def added(motor, cable):
        loaded, bare = fit_pump(pump, motor, cable), fit_pump(pump)
        return float(loaded.power_of_speed(2900.0, 60.0) - bare.power_of_speed(2900.0, 60.0))

    share = (1518 / 2900) / (466 / 800)
    assert added(motor, Cable(95, 4)) == pytest.approx(3 * (share * 8.0) ** 2 * 0.085 * 4.95 * 1.0393, rel=0.08)
    one_way = added(replace(motor, kind="brushed-dc"), Cable(95, 4)), added(motor, Cable(95, 4))
    assert one_way[0] == pytest.approx(2 / 3 * one_way[1], rel=0.03)
    assert added(motor, Cable(10, 4)) == pytest.approx(0.0, abs=0.5)
    assert added(replace(motor, rated_current_a=None), Cable(95, 4)) == pytest.approx(0.0, abs=0.5)


def test_a_table_half_with_speeds_counts_as_one_without():
    pump = site_pump("controller-input")
    first, *rest = pump.curve
    assert fit_pump(pump).speed_known
    assert not fit_pump(replace(pump, curve=(replace(first, speed_rpm=None), *rest))).speed_known


def test_one_speed_in_hertz_among_the_rows_is_refused_in_words():
    """Twelve rows at three speeds, the first one's in Hz: no shape of head is left, and the words say where to look."""
    speed = np.repeat([2000.0, 2450.0, 2900.0], 4)
    flow = np.tile([1.0, 2.5, 4.0, 5.0], 3) * speed / 2900
    head = 60.0 * (speed / 2900) ** 2 - 1.2 * flow**2
    power = 1500.0 * (speed / 2900) ** 3 * (0.6 + 0.5 * flow / 5.0)
    speed[0] = 2000.0 / 60.0
    rows = {"speed_rpm": speed, "flow_m3_h": flow, "head_m": head, "power_w": power}
    with pytest.raises(ValueError, match="another unit|efficiency|Hz"):
        fit_curve(rows, "multistage-centrifugal")
