"""Hand-made mistakes of the kind that people make: a sign, a unit, an exponent, a threshold; and the test that must notice each.

Flow: HERE -> tests/mutants/test_mutants.py (each old text still stands once), tests/bench/bench_mutants.py (each named test fails).
"""

from dataclasses import dataclass

PUMPS = "tests/published/test_published_pumps.py::"
FRICTION = "tests/published/test_published_friction.py::"
WELLS = "tests/published/test_published_wells.py::"
ARRAY = "tests/published/test_published_array.py::"
WATER = "tests/published/test_published_water.py::"
SYSTEM = "tests/analysis/physics/test_system_and_operating_point.py::"
SKY = "tests/analysis/physics/test_sun_and_sky.py::"
CLEAR = "tests/analysis/physics/test_clear_periods.py::"
CIRCUIT = "tests/analysis/physics/test_array_power.py::"
DIRECTIONS = "tests/analysis/causes/test_directions.py::"
THRESHOLDS = "tests/analysis/causes/test_thresholds.py::"
CONTRACT = "tests/analysis/causes/test_contract_of_causes.py::"
QUIET = "tests/analysis/causes/test_quiet_rules.py::"
WITHIN = "tests/analysis/causes/test_string_seen_within_the_day.py::"
SIDES = "tests/analysis/causes/test_array_side.py::"
LYING = "tests/analysis/engine/test_no_measurement.py::"
UNITS = "tests/analysis/review/test_units_by_look.py::"


@dataclass(frozen=True)
class Mutant:
    """`old` stands exactly once in `file` (below analysis/); `new` in its place must make `test` fail."""

    what: str
    file: str
    old: str
    new: str
    test: str


def _physics(what: str, file: str, old: str, new: str, test: str) -> Mutant:
    return Mutant(what, f"physics/{file}.py", old, new, test)


def _cause(what: str, file: str, old: str, new: str, test: str) -> Mutant:
    return Mutant(what, f"causes/{file}.py", old, new, test)


HYDRAULICS = (
    _physics("head goes as speed, not its square", "affinity", "np.square(np.asarray(ratio, float))", "np.asarray(ratio, float)",
             PUMPS + "test_pump_laws_of_the_energy_departments_handbook"),
    _physics("power goes as the square of speed", "affinity", "np.asarray(ratio, float) ** 3", "np.asarray(ratio, float) ** 2",
             PUMPS + "test_pump_laws_of_the_energy_departments_handbook"),
    _physics("flow per minute taken for per hour", "hydraulic_power", "* flow / 3600.0 *", "* flow / 60.0 *",
             PUMPS + "test_hydraulic_power_of_the_round_example"),
    _physics("slip gives flow", "helical", "- slip_factor * self.slip(x, head_m)", "+ slip_factor * self.slip(x, head_m)",
             PUMPS + "test_helical_rotor_behaves_as_published"),
    _physics("pipe's area without its quarter", "pipe_friction", "/ 3600.0 / (np.pi / 4 *", "/ 3600.0 / (np.pi *",
             FRICTION + "test_small_plastic_risers"),
    _physics("Fanning's factor for Darcy's", "pipe_friction", "64.0 / re", "16.0 / re",
             FRICTION + "test_friction_factor_agrees_with_published_values"),
    _physics("a digit of Colebrook's formula", "pipe_friction", "inner = ratio / 3.7 + 2.51 *", "inner = ratio / 3.7 + 5.21 *",
             FRICTION + "test_friction_factor_agrees_with_published_values"),
    _physics("velocity head without its half", "pipe_friction",
             "length_m / diameter_m * speed * np.abs(speed) / (2 * GRAVITY_M_S2)", "length_m / diameter_m * speed * np.abs(speed) / GRAVITY_M_S2",
             FRICTION + "test_small_plastic_risers"),
    _physics("well loss goes as flow", "well_drawdown", "+ quadratic_m_per_m3_h2 * flow)", "+ quadratic_m_per_m3_h2)",
             WELLS + "test_jacobs_formula_with_clarks_constants"),
    _physics("Theis' u twice too large", "well_drawdown", "storativity / (4 * transmissivity_m2_d * going)", "storativity / (2 * transmissivity_m2_d * going)",
             WELLS + "test_three_pumping_days_by_superposition"),
    _physics("Euler's constant with the wrong sign", "well_drawdown", "late = -EULER_GAMMA", "late = EULER_GAMMA",
             WELLS + "test_cooper_jacob_departs_from_theis_as_published"),
    _physics("a bar is a tenth of itself", "system_curve", "return 1e5 / (", "return 1e4 / (",
             SYSTEM + "test_what_is_measured_replaces_what_is_computed_row_by_row"),
    _physics("drawdown added to the pumping level", "system_curve", "np.asarray(level_m, float) - self.drawdown_m(", "np.asarray(level_m, float) + self.drawdown_m(",
             SYSTEM + "test_submergence_and_resting_level"),
    _physics("a coefficient of water's density", "water", "16.945176 +", "16.495176 +",
             WATER + "test_water_agrees_with_the_international_formulation"),
    _physics("an exponent of water's viscosity", "water", "(511.45, -7.7)", "(511.45, -7.1)",
             WATER + "test_water_agrees_with_the_international_formulation"),
)  # fmt: skip

ELECTRIC = (
    _physics("three-phase drop without its root of three", "cable", "np.sqrt(3.0)", "np.sqrt(2.0)", ARRAY + "test_three_phase_drop"),
    _physics("one way for there and back", "cable", "return 2.0 * _one_way", "return 1.0 * _one_way", ARRAY + "test_direct_current_drop"),
    _physics("copper resists less when warm", "cable", "1.0 + COPPER_PER_C", "1.0 - COPPER_PER_C",
             ARRAY + "test_conductor_resistance_rises_as_copper_does"),
    _physics("NOCT is told at 1000 W/m2", "cell_temperature", "NOCT_IRRADIANCE_W_M2 = 800.0", "NOCT_IRRADIANCE_W_M2 = 1000.0",
             ARRAY + "test_cell_temperature_by_noct"),
    _physics("cells cooler than the module's back", "cell_temperature", "+ CELL_ABOVE_MODULE_C / 1000.0", "- CELL_ABOVE_MODULE_C / 1000.0",
             CIRCUIT + "test_cells_are_warmer_than_air_and_than_the_modules_back"),
    _physics("warmer the higher", "cell_temperature", "- LAPSE_C_PER_M * altitude_m", "+ LAPSE_C_PER_M * altitude_m",
             SKY + "test_usual_air_temperature_has_the_right_signs"),
    _physics("saturation current grows as the square", "single_diode", "relative**3", "relative**2", ARRAY + "test_circuit_scales_as_de_soto"),
    _physics("the gap grows with warmth", "single_diode", "1.0 - 0.0002677", "1.0 + 0.0002677",
             ARRAY + "test_circuit_scales_as_de_soto"),
    _physics("the shunt falls with the light", "single_diode", "shunt / ratio", "shunt * ratio", ARRAY + "test_circuit_scales_as_de_soto"),
    _physics("degrees for minutes of arc", "sun", "* 1.02 / 60.0", "* 1.02 / 6.0",
             SKY + "test_refraction_at_the_horizon_is_about_half_a_degree"),
    _physics("held back taken for at maximum", "operating_state", "STARVED_BELOW = 1.035, 0.90", "STARVED_BELOW = 1.35, 0.90",
             CIRCUIT + "test_operating_point_is_recognised_without_an_irradiance_sensor"),
    _physics("per cent taken for a share", "clear_periods", "WOBBLE_MOST = 0.03", "WOBBLE_MOST = 3.0", CLEAR + "test_flicker_about_a_level_line_is_cloud"),
    _physics("even cloud taken for clear", "clear_periods", "height > 0.85 * best", "height > 0.15 * best", CLEAR + "test_even_cloud_is_not_taken_for_clear"),
)  # fmt: skip

CAUSES = (
    Mutant("wear gives flow", "estimates/bench.py", "return -1.0 / self.relative_flow()", "return 1.0 / self.relative_flow()",
           DIRECTIONS + "test_wear_slips_most_at_low_speed_for_the_same_torque"),
    Mutant("wear weighs most at high speed", "estimates/bench.py", "-1.0 / self.relative_flow()", "-1.0 * self.relative_flow()",
           DIRECTIONS + "test_wear_slips_most_at_low_speed_for_the_same_torque"),
    _cause("a blockage's loss goes as flow", "clogging", "bench.relative_flow() ** 2", "bench.relative_flow()",
           DIRECTIONS + "test_a_blockage_goes_as_the_square_of_the_flow_and_the_gauge_says_where"),
    _cause("a hole brings the first water early", "riser_leak", "drained = LIMITS.drained / LIMITS.drained_for", "drained = -LIMITS.drained / LIMITS.drained_for",
           DIRECTIONS + "test_a_hole_costs_what_wear_costs_and_the_first_water_too"),
    _cause("what drags takes no torque", "unexplained", "t=share", "t=0.0 * share",
           DIRECTIONS + "test_what_drags_takes_torque_and_leaves_the_water"),
    _cause("a strainer takes any suction", "clogging", "min(LIMITS.most, bearable_m / metres)", "max(LIMITS.most, bearable_m / metres)",
           DIRECTIONS + "test_no_strainer_takes_more_suction_than_air_and_well_lend"),
    _cause("a fallen level is met by a shallower gauge", "falling_water_level", '{"l": metres, "rest": rest}', '{"l": -metres, "rest": rest}',
           DIRECTIONS + "test_a_fallen_level_is_read_by_the_gauge_or_felt_by_the_pump"),
    _cause("the season's own range is forgotten", "falling_water_level", "beyond_season: float = 0.75", "beyond_season: float = 0.0",
           DIRECTIONS + "test_what_the_season_moves_is_no_fault"),
    _cause("dust gives power", "panel_soiling", "shift(s=-1.0)", "shift(s=1.0)", DIRECTIONS + "test_dust_takes_current_at_all_hours_and_no_voltage"),
    _cause("a string out of n is one of n - 1", "string_out", "lost = -float(np.log(1 - out / array.strings))", "lost = -float(np.log(1 - out / (array.strings + 1)))",
           DIRECTIONS + "test_a_string_goes_by_a_whole_fraction"),
    _cause("shade gives power", "shading", "shaded[first : first + hours] = -1.0", "shaded[first : first + hours] = 1.0",
           DIRECTIONS + "test_shade_takes_a_run_of_hours"),
    _cause("power held back is power given", "controller_derating", "cap=-1.0", "cap=1.0", DIRECTIONS + "test_power_held_back_lowers_the_ceiling"),
    _cause("a bad motor joint needs less power", "cable_fault", "t=-p, i=-current", "t=p, i=-current", DIRECTIONS + "test_a_bad_joint_costs_power_on_the_way_and_nothing_after"),
    _cause("one glitch is an over-voltage", "over_voltage", "rows: int = 2", "rows: int = 1", THRESHOLDS + "test_one_reading_above_the_rating_may_be_a_glitch"),
    _cause("the rating is forgotten by a tenth", "over_voltage", "above: float = 0.004", "above: float = 0.1",
           THRESHOLDS + "test_two_readings_above_the_rating_are_an_over_voltage"),
    _cause("two trips are a fault", "controller_trip", "trips: int = 3", "trips: int = 2", THRESHOLDS + "test_two_trips_happen_and_three_are_a_fault"),
    _cause("two hours' silence is a fault", "silent", "after_h: float = 8.0", "after_h: float = 2.0", THRESHOLDS + "test_a_link_may_be_down_for_hours"),
)  # fmt: skip

NO_WATER = CONTRACT + "test_what_physics_says_of_no_water_is_told_apart"
ODDS = CONTRACT + "test_each_measure_moves_the_odds_its_way"

SWIFT = (
    _cause("a shut delivery unloads a helical rotor", "closed_delivery", '{"torque": (0.75, 0.4)', '{"torque": (-0.75, 0.4)', ODDS),
    _cause("a broken shaft is heavy", "broken_shaft", '"idle": (-1.6, 0.7)', '"idle": (1.6, 0.7)', NO_WATER),
    _cause("a pump runs dry under water", "dry_running", '"water": (0.0, 1.0)', '"water": (12.0, 1.0)', NO_WATER),
    _cause("leads exchanged by nobody", "reverse_rotation", '"lead": (1.0, 0.1)', '"lead": (0.0, 0.1)', ODDS),
    _cause("a dead meter takes torque", "sensor_fault", '"torque": (0.0, 0.08)', '"torque": (0.8, 0.08)', ODDS),
    _cause("a locked rotor takes no current", "stalled_motor", '"current": (1.9, 0.7)', '"current": (0.0, 0.1)', ODDS),
    _cause("what does not start is fed", "failed_start", '"fed": (0.0, 0.02)', '"fed": (0.3, 0.02)', ODDS),
    _cause("clouds about count for nothing", "short_cycling", "0.15  # of the rows within runs", "0.95  # of the rows within runs",
           QUIET + "test_broken_cloud_is_known_without_a_sensor_by_power_that_went_and_came"),
    Mutant("a cloud that runs it down is full strength", "full_power.py", "STRONG = 0.65", "STRONG = 0.05",
           QUIET + "test_broken_cloud_is_known_without_a_sensor_by_power_that_went_and_came"),
    _cause("a reading that answers is stuck", "sensor_fault", "other = np.cumsum(stands & (column != value))", "other = np.cumsum(stands & (column == np.nan))",
           QUIET + "test_one_that_stood_at_its_value_at_dawn_and_left_it_at_noon_is_not_stuck"),
    _cause("a flicker is even", "string_out", "ragged_measured: float = 0.06", "ragged_measured: float = 0.6", WITHIN + "test_half_a_current_that_flickers_is_no_string"),
    _cause("within the day a string of n is one of n + 1", "string_out",
           "share, lost = out / array.strings, -float(np.log(1 - out / array.strings))",
           "share, lost = out / array.strings, -float(np.log(1 - out / (array.strings + 1)))",
           WITHIN + "test_half_of_the_current_gone_is_one_of_two_strings"),
    Mutant("under cloud the horizon is learnt", "estimates/horizon.py", "last[(clear & (sunny[0] > 0)) | plenty] = day", "last[clear | plenty] = day",
           SIDES + "test_an_hour_under_cloud_says_nothing_of_the_horizon"),
    Mutant("what lies goes on being believed", "no_measurement.py", "if name not in channels}", "if name in rows.values}",
           LYING + "test_rows_without_a_channel_are_those_of_a_site_that_never_had_it"),
    Mutant("Fahrenheit the wrong way round", "units_by_look.py", "(middle - 32.0) / 1.8", "(middle - 32.0) * 1.8",
           UNITS + "test_temperatures_in_other_degrees_are_seen"),
    Mutant("litres' bound is a day of the least flow", "units_by_look.py", "LONG_DAY_H = 10.0", "LONG_DAY_H = 10000.0",
           UNITS + "test_the_likely_unit_is_named"),
)  # fmt: skip

MUTANTS = (*HYDRAULICS, *ELECTRIC, *CAUSES, *SWIFT)
