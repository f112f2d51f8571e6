"""Do the 95 % bands hold? Healthy sites drawn within tolerance, a fresh seed each run.

Run: python tests/bench/bench_coverage.py [sites] [seed]
Two plants: the model's own physics with drawn factors (is the propagation right?), and, with --samples, the samples'
simulator, which shares no code (are the tolerances and the model's shape right?). Prints the share of rows within the band with its
standard error; 'outside' where it lies outside the goal at all, and MISSED where it does so by more than three standard errors: rows of one
plant stand and fall together, so plants are what counts.
"""

import argparse
import secrets
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.expected import Factors, SiteModel
from analysis.factors import NAMES
from analysis.rows import Rows
from analysis.uncertainty import COVERAGE, MOTOR_CURRENT_TOLERANCE, SENSOR_STD, head_share, sensor_std, tolerances
from logger.record.site_facts import SiteFacts
from logger.record.site_file import read_site

SITE = (Path(__file__).parent / "bench_site.toml").read_text(encoding="utf-8")
COLUMNS = (
    "mpp_power_w",
    "flow_of_sun_m3_h",
    "head_m",
    "flow_m3_h",
    "flow_at_speed_m3_h",
    "power_at_speed_w",
    "motor_current_a",
)
K95 = 1.96
GOAL, SURE = (0.93, 0.97), 3.0
"""Share of rows that is to lie within a band of 95 %; a miss counts from so many standard errors outside it."""
BIAS = 0.4
"""In stated standard uncertainties: so far off centre, a band of 95 % holds 93.1 % of a normal error, the goal's edge."""


def drawn(model: SiteModel, rng: np.random.Generator) -> Factors:
    """One healthy installation: its factors within what the tolerances leave."""
    values = rng.multivariate_normal(Factors().vector(), model.covariance(Factors()))
    return Factors().with_vector(values, np.zeros((len(NAMES), len(NAMES))))


def noisy(rng: np.random.Generator, name: str, values: np.ndarray) -> np.ndarray:
    """As an instrument of its class reads: one error of scale and one of zero for the whole time."""
    share, amount = SENSOR_STD[name]
    return values * (1.0 + share * rng.normal()) + amount * rng.normal()


def covered(model: SiteModel, rng: np.random.Generator) -> dict[str, tuple[int, int]]:
    """By column, rows within the band and rows, of one drawn site over one day."""
    truth = drawn(model, rng)
    time_ms = (1_762_905_600_000 + 86_400_000 * int(rng.integers(0, 365)) + 900_000 * np.arange(96)).astype(np.int64)
    clear = np.nan_to_num(model.expect(Rows(time_ms, {})).clear_poa_w_m2)
    poa = clear * rng.uniform(0.5, 1.0, len(clear))
    air = np.full(len(clear), rng.normal(22.0, 6.0))
    cell_error = rng.normal(0.0, 4.0)
    real = model.expect(Rows(time_ms, {"irradiance_w_m2": poa, "ambient_temp_c": air + cell_error}), truth)
    power = np.minimum(real.mpp_power_w, 1450.0)
    real_water = model.expect(Rows(time_ms, {"input_power_w": power}), truth)
    speed = speeds(model, truth, power, real_water.head_m)
    at_speed = model.expect(Rows(time_ms, {"input_power_w": power, "motor_speed_rpm": speed}), truth)
    seen = model.expect(
        Rows(
            time_ms,
            {
                "irradiance_w_m2": noisy(rng, "irradiance_w_m2", poa),
                "ambient_temp_c": air,
                "input_power_w": noisy(rng, "input_power_w", power),
                "motor_speed_rpm": noisy(rng, "motor_speed_rpm", speed),
            },
        )
    )
    found = {}
    misfit = {
        "flow_m3_h": model.pump.spread.flow_of_power_m3_h,
        "flow_of_sun_m3_h": model.pump.spread.flow_of_power_m3_h,
        "flow_at_speed_m3_h": model.pump.spread.flow_of_speed_m3_h,
        "power_at_speed_w": model.pump.spread.power_w,
    }  # no pump lies on its table's surface: one error of shape a site
    busy = power > 250.0
    for name in COLUMNS:
        true = getattr(real if name in ("mpp_power_w", "flow_of_sun_m3_h") else at_speed, name)
        off = rng.normal() * misfit.get(name, 0.0)
        if name == "flow_at_speed_m3_h":  # nor is its head at a speed the table's
            lifts = head_share(model.facts) * model.deviations()["flow"] * at_speed.head_m
            off = off + rng.normal() * lifts * model.slopes(np.nan_to_num(power))[3]
        if name == "motor_current_a":  # follows the power that the pump takes, so it shares its misfit
            off = true * rng.normal() * model.pump.spread.power_w / at_speed.power_at_speed_w
        true = true + off
        value, std = getattr(seen, name), getattr(seen, f"{name}_std")
        known = busy & ~np.isnan(true) & ~np.isnan(value)
        inside = np.abs(true - value)[known] < K95 * std[known]
        found[name] = (int(inside.sum()), int(known.sum()))
    return found


def speeds(model: SiteModel, truth: Factors, power: np.ndarray, head: np.ndarray) -> np.ndarray:
    """Speed that the drawn pump turns at: its power over its factor, on the datasheet's surface."""
    return model.pump.speed_of_power(power / truth.power, head)


@dataclass(frozen=True)
class Share:
    """Of rows within the 95 % band, and its standard error: what plants drawn anew would make of it."""

    share: float
    error: float

    @property
    def missed(self) -> bool:
        """Surely outside the goal."""
        return not GOAL[0] - SURE * self.error <= self.share <= GOAL[1] + SURE * self.error

    @property
    def outside(self) -> bool:
        """As found, whether surely or by these plants' luck."""
        return not GOAL[0] <= self.share <= GOAL[1]

    def __str__(self) -> str:
        verdict = f"   outside{', MISSED' if self.missed else ''}" if self.outside else ""
        return f"{self.share:.3f} +- {self.error:.3f}{verdict}"


@dataclass(frozen=True)
class Miss:
    """Plants' middle misses, measured less expected, in stated standard uncertainties.

    `root`: their root mean square. 1 is a budget that is stated rightly, with far fewer plants than a share of 95 % takes.
    `mean`: their mean, with its standard error: what all plants have in common is the model's bias, not a plant's tolerance.
    """

    root: float
    mean: float
    error: float

    @property
    def biased(self) -> bool:
        """Surely beyond `BIAS`."""
        return abs(self.mean) > BIAS + SURE * self.error

    @property
    def unbiased(self) -> bool:
        """As surely within it: between the two these plants cannot say."""
        return abs(self.mean) + SURE * self.error < BIAS

    def __str__(self) -> str:
        verdict = "   BIASED" if self.biased else "   within" if self.unbiased else "   open"
        low, high = self.mean - SURE * self.error, self.mean + SURE * self.error
        return f"{self.root:.2f}   {self.mean:+.2f} +- {self.error:.2f} ({low:+.2f} to {high:+.2f}){verdict}"


def miss_of(middles: list[float]) -> Miss:
    """Of two plants or more."""
    z = np.array(middles)
    return Miss(float(np.sqrt(np.mean(z**2))), float(z.mean()), float(z.std(ddof=1) / np.sqrt(len(z))))


def share_of(inside: list[float], rows: list[float]) -> Share:
    """From rows within the band and rows of each plant: a ratio, its error by the plants' own residues (Cochran, Sampling
    Techniques, 1977, 6.2, from memory), and no less than the binomial's for so many plants: where all keep within, residues say nothing."""
    good, known = np.array(inside, float), np.array(rows, float)
    share, plants = float(good.sum() / known.sum()), len(good)
    left = good - share * known
    own = float(np.sqrt((left**2).sum() * plants / (plants - 1)) / known.sum())
    return Share(share, max(own, float(np.sqrt(0.95 * 0.05 / plants))))


def coverage(sites: int, seed: int) -> dict[str, Share]:
    """Share of rows within the 95 % band, by column, over drawn sites."""
    model, rng = SiteModel(read_site(SITE)), np.random.default_rng(seed)
    inside: dict[str, list[float]] = {name: [] for name in COLUMNS}
    rows: dict[str, list[float]] = {name: [] for name in COLUMNS}
    for _ in range(sites):
        for name, (good, known) in covered(model, rng).items():
            inside[name].append(good)
            rows[name].append(known)
    return {name: share_of(inside[name], rows[name]) for name in COLUMNS}


CHANNELS = (
    "pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "flow_m3_h", "irradiance_w_m2", "module_temp_c",
    "ambient_temp_c", "low_level_probe_wet", "tank_float_up", "motor_running", "water_level_m", "discharge_pressure_bar",
)  # fmt: skip


def of_samples(
    seed: int, each: int = 2, whole: bool = True, days: int = 8, step_s: int = 300
) -> dict[str, tuple[Share, float, Miss]]:
    """By column over the samples' sites: share of settled running rows within the band, the mean
    ratio measured / expected, and the plants' middle misses in stated standard uncertainties.

    Some healthy days a site; the samples' plant is drawn by its own laws and shares no code with the expected side.
    `whole`: flow, array, resting level and the plate's current are drawn out of the whole of the tolerances that the bands claim; else as the samples
    draw them, which is tighter (flow within 8 %, level within 1.5 m), so that the bands hold more than they say.
    """
    from datetime import UTC, datetime

    from logger.record.site_file import load_site
    from samples.plant.drawn import Likeness
    from samples.season import make_season

    folder = Path(__file__).parents[2] / "samples" / "sites"
    hits: dict[str, list[np.ndarray]] = {}
    ratios: dict[str, list[float]] = {}
    misses: dict[str, list[float]] = {}
    for number, path in enumerate(sorted(folder.glob("*.toml"))):
        facts = load_site(path)
        model = SiteModel(facts)
        for again in range(each):
            span = datetime(2025, 10, 1, tzinfo=UTC), datetime(2025, 10, 1 + days, tzinfo=UTC)
            own = seed + 1000 * number + again
            likeness = Likeness(**within_tolerance(facts, own)) if whole else Likeness()
            frame, _ = make_season(facts, [], *span, step_s, own, CHANNELS, likeness)
            if whole:
                frame["motor_current_a"] *= plate_of(own)
            for name, (inside, ratio, miss) in _of_one(model, frame).items():
                hits.setdefault(name, []).append(inside)
                ratios.setdefault(name, []).append(ratio)
                misses.setdefault(name, []).append(miss)
    return {
        name: (
            share_of([inside.sum() for inside in hits[name]], [len(inside) for inside in hits[name]]),
            float(np.mean(ratios[name])),
            miss_of(misses[name]),
        )
        for name in hits
    }


def within_tolerance(facts: SiteFacts, seed: int) -> dict[str, float]:
    """A plant's flow, array and level drawn out of the tolerances: 19 of 20 within their half-width."""
    rng, half = np.random.default_rng(seed), tolerances(facts)
    return {
        "flow": 1.0 + half["flow"] / COVERAGE * rng.normal(),
        "array": 0.985 * (1.0 + half["array_current"] / COVERAGE * rng.normal()),
        "level_m": half["level_offset_m"] / COVERAGE * rng.normal(),
    }


def plate_of(seed: int) -> float:
    """Motor current over what the plate says at this torque; of their motors the samples draw the losses alone."""
    return 1.0 + MOTOR_CURRENT_TOLERANCE / COVERAGE * np.random.default_rng([seed, 1]).normal()


def _of_one(model: SiteModel, frame) -> dict[str, tuple[np.ndarray, float, float]]:
    time_ms = frame["time"].dt.as_unit("ms").astype("int64").to_numpy()
    values = {name: frame[name].to_numpy(float) for name in CHANNELS}
    unknown = ("water_level_m", "discharge_pressure_bar")
    seen = model.expect(Rows(time_ms, {name: column for name, column in values.items() if name not in unknown}))
    levels = model.expect(Rows(time_ms, values))
    on = (values["motor_running"] > 0.5) & (values["tank_float_up"] < 0.5) & (values["low_level_probe_wet"] > 0.5)
    for shift in (1, 2, 3, -1):
        on &= np.roll(on, shift)
    ratio = values["pv_voltage_v"] / seen.mpp_voltage_v
    at_max = on & (ratio < 1.03) & (ratio > 0.8) & (seen.poa_w_m2 > 250)
    read_std = np.hypot(  # what the head is compared with is read too, by two instruments
        sensor_std("water_level_m", values["water_level_m"]),
        sensor_std("discharge_pressure_bar", values["discharge_pressure_bar"]) * model.curve.m_per_bar,
    )
    compared = {
        "flow_m3_h": (values["flow_m3_h"], seen.flow_m3_h, seen.flow_m3_h_std, on),
        "flow_m3_h, level read": (values["flow_m3_h"], levels.flow_m3_h, levels.flow_m3_h_std, on),
        "flow_at_speed_m3_h": (values["flow_m3_h"], seen.flow_at_speed_m3_h, seen.flow_at_speed_m3_h_std, on),
        "power_at_speed_w": (seen.input_power_w, seen.power_at_speed_w, seen.power_at_speed_w_std, on),
        "motor_current_a": (values["motor_current_a"], seen.motor_current_a, seen.motor_current_a_std, on),
        "mpp_power_w": (seen.input_power_w, seen.mpp_power_w, seen.mpp_power_w_std, at_max),
        "head_m": (levels.head_m, seen.head_m, np.hypot(seen.head_m_std, read_std), on),
    }
    found = {}
    for name, (measured, value, std, which) in compared.items():
        known = which & ~np.isnan(measured) & (value > 0)
        read, due, doubt = measured[known], value[known], std[known]
        inside = np.abs(read - due) < K95 * doubt
        if known.any():
            found[name] = (inside, float(np.median(read / due)), float(np.median((read - due) / doubt)))
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "sites", type=int, nargs="?", default=400, help="sites drawn; with --samples: plants a sample site"
    )
    parser.add_argument("seed", type=int, nargs="?", default=secrets.randbelow(2**31))
    parser.add_argument("--samples", action="store_true", help="against the samples' plants instead")
    parser.add_argument("--as-drawn", action="store_true", help="with --samples: as the samples draw them, tighter")
    args = parser.parse_args()
    if args.samples:
        print(f"seed {args.seed}, {args.sites} plants a sample site; measured / expected, the plants' middle")
        print(
            "miss over its stated standard uncertainty (root mean square, mean), share within the 95 % band (goal 0.93 to 0.97)"
        )
        for column, (share, ratio, miss) in of_samples(args.seed, args.sites, not args.as_drawn).items():
            print(f"  {column:22s} {ratio:.3f}   {miss}   {share}")
        raise SystemExit
    print(f"seed {args.seed}, {args.sites} sites drawn; share of rows within the 95 % band (goal 0.93 to 0.97)")
    for column, share in coverage(args.sites, args.seed).items():
        print(f"  {column:22s} {share}")
