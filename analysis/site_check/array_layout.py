"""The array's layout, size, current and cable against the controller and the pump; where it looks.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

from analysis.physics.array_power import CABLE_C
from analysis.physics.cable import dc_drop_v
from analysis.site_check.remark import Checked, Remarks

DROP_DOUBTFUL, DROP_NOTE = 0.05, 0.03
"""Shares of array voltage: 1 to 3 % is customary for DC cables (common practice)."""
OVERSIZE_MOST, OVERSIZE_LEAST = 2.5, 0.6
"""Array over pump: 1.2 to 1.6 is customary (common practice)."""
TROPICS_DEG = 15.0


def array_layout(site: Checked) -> Remarks:
    """Layouts that the controller allows, short-circuit current, power."""
    array, controller, module = site.facts.array, site.facts.controller, site.facts.array.module
    layout = (array.modules_in_series, array.strings)
    if controller.allowed_layouts and layout not in controller.allowed_layouts:
        listed = ", ".join(f"{series} in series x {strings}" for series, strings in controller.allowed_layouts)
        yield site.wrong(
            "array", f"{layout[0]} in series x {layout[1]} strings is not a layout that the controller allows",
            f"its datasheet allows: {listed}; correct the layout or controller.allowed_layouts",
        )  # fmt: skip
    short = module.i_sc_a * array.strings
    if controller.max_input_current_a and short > controller.max_input_current_a:
        fits = int(controller.max_input_current_a / module.i_sc_a)
        yield site.wrong(
            "array.strings",
            f"{array.strings} strings of {module.i_sc_a:g} A make {short:.1f} A short circuit, above the input's "
            f"{controller.max_input_current_a:g} A",
            f"at most {fits} string{'s' if fits > 1 else ''} in parallel, or a controller with a larger input"
            if fits
            else "one string is already too much for this input",
        )  # fmt: skip
    if controller.max_input_current_a is None and array.strings > 1:
        yield site.note(
            "controller.max_input_current_a", f"not stated: whether the input bears {short:.1f} A of {array.strings} strings cannot be judged",
            "write the input's largest current from the controller's datasheet",
        )  # fmt: skip
    peak = array.modules_in_series * array.strings * module.p_mp_w
    if peak > 2.0 * controller.max_power_w:
        yield site.doubtful(
            "controller.max_power_w", f"the array's {peak:.0f} W is more than twice what the controller takes, {controller.max_power_w:.0f} W",
            "check modules_in_series, strings and max_power_w; are watts and kilowatts mixed?",
        )  # fmt: skip


def array_against_pump(site: Checked) -> Remarks:
    """Pump larger than the array, or the array much larger than the pump can use."""
    array, module = site.facts.array, site.facts.array.module
    peak = array.modules_in_series * array.strings * module.p_mp_w
    full = max(row.power_w for row in site.facts.pump.curve)
    if peak < OVERSIZE_LEAST * full:
        yield site.doubtful(
            "array", f"the array's {peak:.0f} W peak is {peak / full:.0%} of the pump's {full:.0f} W: it will rarely run at speed",
            "more modules, or a smaller pump; 1.2 to 1.6 times the pump's power is customary",
        )  # fmt: skip
    elif peak > OVERSIZE_MOST * full:
        yield site.doubtful(
            "array", f"the array's {peak:.0f} W peak is {peak / full:.1f} times the pump's {full:.0f} W",
            "1.2 to 1.6 times is customary; check p_mp_w, modules_in_series, strings and the curve's power_w",
        )  # fmt: skip
    elif peak < full:
        yield site.note(
            "array", f"the array's {peak:.0f} W peak is less than the pump's {full:.0f} W at full speed",
            "water will follow the sun; 1.2 to 1.6 times is customary",
        )  # fmt: skip


def array_cable(site: Checked) -> Remarks:
    """Drop between array and controller."""
    array = site.facts.array
    if not (array.cable_length_m and array.cable_mm2):
        return
    current, voltage = array.strings * array.module.i_mp_a, array.modules_in_series * array.module.v_mp_v
    share = float(dc_drop_v(current, array.cable_length_m, array.cable_mm2, CABLE_C)) / voltage
    what = f"{array.cable_length_m:g} m of {array.cable_mm2:g} mm2 lose {share:.1%} of the array's voltage"
    fix = "a thicker or shorter cable, or more modules in series and fewer strings where the controller allows"
    if share > DROP_DOUBTFUL:
        yield site.doubtful("array.cable_mm2", what, fix)
    elif share > DROP_NOTE:
        yield site.note("array.cable_mm2", what, fix)


def array_aim(site: Checked) -> Remarks:
    """Away from the equator, or too steep or flat for the place."""
    latitude, array = site.facts.site.latitude_deg, site.facts.array
    toward = 180.0 if latitude > 0 else 0.0
    off = abs((array.azimuth_deg - toward + 180.0) % 360.0 - 180.0)
    if abs(latitude) > TROPICS_DEG and array.tilt_deg > 5 and off > 90.0:
        yield site.doubtful(
            "array.azimuth_deg", f"{array.azimuth_deg:g} deg looks away from the equator at latitude {latitude:g}",
            f"azimuth is clockwise from true north: {toward:g} looks to the equator here; or is the latitude's sign wrong?",
        )  # fmt: skip
    if array.tilt_deg > abs(latitude) + 35.0:
        yield site.doubtful(
            "array.tilt_deg", f"{array.tilt_deg:g} deg is steep for latitude {latitude:g}",
            "about the latitude is customary, 10 to 15 deg at the least for rain to wash the modules",
        )  # fmt: skip
    elif array.tilt_deg < 5.0:
        yield site.note(
            "array.tilt_deg",
            f"{array.tilt_deg:g} deg: rain does not wash flat modules",
            "10 deg or more keeps them cleaner",
        )
