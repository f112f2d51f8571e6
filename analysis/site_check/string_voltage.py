"""Array voltage against the controller's window, over the site's temperatures.

Flow: remark.py -> HERE -> site_check/__init__.py
"""

from analysis.site_check.remark import Checked, Remarks

NEAR = 0.95
CAUTION = "Array voltage is dangerous whenever the sun shines, controller switched off or not: leave the wiring to licensed people."


def string_voltage(site: Checked) -> Remarks:
    """Open circuit on the coldest morning, maximum power when hot.

    Open circuit by the datasheet's linear coefficient at the coldest air: IEC 62548 and the like (from memory).
    """
    array, controller, module = site.facts.array, site.facts.controller, site.facts.array.module
    beta, gamma = module.temp_coeff_v_oc_pct_c / 100.0, module.temp_coeff_p_mp_pct_c / 100.0
    cold = array.modules_in_series * module.v_oc_v * (1.0 + beta * (site.coldest_c - 25.0))
    limit = controller.max_input_voltage_v
    fits = int(array.modules_in_series * limit / cold)
    said = f"{array.modules_in_series} modules in series reach {cold:.0f} V open circuit at {site.coldest_c:.0f} deg C"
    stated = site.facts.site.lowest_ambient_c is not None
    milder = "" if stated else ", or state the coldest morning as site.lowest_ambient_c if it is milder"
    at_most = (
        f"put at most {fits} in series"
        if fits
        else "no string of this module fits this controller: even one is above its limit"
    )
    fix = f"{at_most}{milder}. {CAUTION}"
    if cold > limit:
        yield site.wrong(
            "array.modules_in_series", f"{said}, above the controller's {limit:.0f} V: it can be destroyed", fix
        )
    elif cold > NEAR * limit:
        yield (site.note if stated else site.doubtful)(
            "array.modules_in_series", f"{said}, close to the controller's {limit:.0f} V", fix
        )
    hot_c = site.hottest_c + (module.noct_c - 20.0) / 800.0 * 1000.0
    cell = 1.0 + (gamma - module.temp_coeff_i_sc_pct_c / 100.0) * (hot_c - 25.0)
    hot = array.modules_in_series * module.v_mp_v * cell
    floor = controller.min_input_voltage_v
    said = f"{array.modules_in_series} modules in series fall to {hot:.0f} V at maximum power with cells at {hot_c:.0f} deg C"
    more = -(-array.modules_in_series * floor // hot)
    at_least = f"put at least {more:.0f} in series (and check the cold morning again)"
    if more > fits:
        at_least = f"at least {more:.0f} in series would do, and at most {fits} bear the cold morning: no string of this module fits this controller"
    if hot < floor:
        yield site.wrong(
            "array.modules_in_series", f"{said}, below the controller's least input of {floor:.0f} V: it stops at noon",
            f"{at_least}. {CAUTION}",
        )  # fmt: skip
    elif controller.mpp_min_v and hot < controller.mpp_min_v:
        yield site.doubtful(
            "array.modules_in_series", f"{said}, below the tracker's window from {controller.mpp_min_v:.0f} V",
            f"more modules in series would keep the array at its best when hot. {CAUTION}",
        )  # fmt: skip
    cool = array.modules_in_series * module.v_mp_v * (1.0 + gamma * (site.coldest_c - 25.0))
    if controller.mpp_max_v and cool > controller.mpp_max_v:
        yield site.doubtful(
            "array.modules_in_series",
            f"maximum power lies at {cool:.0f} V on the coldest morning, above the tracker's window up to {controller.mpp_max_v:.0f} V",
            f"fewer modules in series, or take the loss on cold mornings. {CAUTION}",
        )  # fmt: skip
    if controller.min_input_voltage_v >= controller.max_input_voltage_v:
        yield site.wrong(
            "controller.min_input_voltage_v", f"{floor:.0f} V is not below max_input_voltage_v = {limit:.0f} V",
            "take both from the controller's datasheet; are they exchanged?",
        )  # fmt: skip
