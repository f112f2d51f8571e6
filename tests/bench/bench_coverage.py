"""Do the 95 % bands hold? Healthy sites drawn within tolerance, a fresh seed each run.

Run: python tests/bench/bench_coverage.py [sites] [seed]
Two plants: the model's own physics with drawn factors (is the propagation right?), and, with --samples, the samples'
simulator, which shares no code (are the tolerances and the model's shape right?). Prints the share of rows within the band.
"""

import argparse
import secrets
from pathlib import Path

import numpy as np

from analysis.expected import Factors, SiteModel
from analysis.factors import NAMES
from analysis.rows import Rows
from analysis.uncertainty import SENSOR_STD
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
        true = true + rng.normal() * misfit.get(name, 0.0)
        value, std = getattr(seen, name), getattr(seen, f"{name}_std")
        known = busy & ~np.isnan(true) & ~np.isnan(value)
        inside = np.abs(true - value)[known] < K95 * std[known]
        found[name] = (int(inside.sum()), int(known.sum()))
    return found


def speeds(model: SiteModel, truth: Factors, power: np.ndarray, head: np.ndarray) -> np.ndarray:
    """Speed that the drawn pump turns at: its power over its factor, on the datasheet's surface."""
    return model.pump.speed_of_power(power / truth.power, head)


def coverage(sites: int, seed: int) -> dict[str, float]:
    """Share of rows within the 95 % band, by column, over drawn sites."""
    model, rng = SiteModel(read_site(SITE)), np.random.default_rng(seed)
    inside = dict.fromkeys(COLUMNS, 0)
    total = dict.fromkeys(COLUMNS, 0)
    for _ in range(sites):
        for name, (good, known) in covered(model, rng).items():
            inside[name] += good
            total[name] += known
    return {name: inside[name] / max(total[name], 1) for name in COLUMNS}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("sites", type=int, nargs="?", default=400)
    parser.add_argument("seed", type=int, nargs="?", default=secrets.randbelow(2**31))
    args = parser.parse_args()
    print(f"seed {args.seed}, {args.sites} sites drawn; share of rows within the 95 % band (goal 0.93 to 0.97)")
    for column, share in coverage(args.sites, args.seed).items():
        print(f"  {column:22s} {share:.3f}")
