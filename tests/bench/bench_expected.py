"""How fast the expected columns are: against IsolationForest on the same rows in the same run, and against reading them.

Run: python tests/bench/bench_expected.py [rows [seed]]
Prints the seed, drawn afresh where none is given, and ratios, not seconds: the machine is not part of the answer. Goal: a twelfth of IsolationForest's fit and score.
"""

import secrets
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from sklearn.ensemble import IsolationForest

from analysis.expected import SiteModel
from analysis.rows import Rows
from logger.record.site_file import read_site

SITE = (Path(__file__).parent / "bench_site.toml").read_text(encoding="utf-8")
ROUNDS = 7
GOAL = 1.0 / 12.0


def season(model: SiteModel, n: int, seed: int) -> Rows:
    """n one-minute rows of ten channels, nights included, of a day-by-day cloudy season."""
    rng = np.random.default_rng(seed)
    time_ms = (1_756_684_800_000 + 60_000 * np.arange(n)).astype(np.int64)
    clear = np.nan_to_num(model.expect(Rows(time_ms, {})).poa_w_m2)
    cloud = np.repeat(rng.uniform(0.3, 1.0, n // 20 + 1), 20)[:n]
    poa = clear * cloud
    seen = model.expect(Rows(time_ms, {"irradiance_w_m2": poa}))
    power = np.minimum(np.nan_to_num(seen.mpp_power_w), 1500.0) * rng.normal(1.0, 0.01, n)
    voltage = np.nan_to_num(seen.mpp_voltage_v, nan=5.0)
    speed = np.where(power > 200, 300.0 + 1.7 * power, 0.0)
    flow = np.nan_to_num(seen.flow_of_sun_m3_h)
    return Rows(
        time_ms,
        {
            "pv_voltage_v": voltage,
            "pv_current_a": power / voltage,
            "motor_current_a": 3.0 + power / 300.0,
            "motor_speed_rpm": speed,
            "volume_m3": np.round(np.cumsum(flow) / 60.0, 2),
            "irradiance_w_m2": poa,
            "ambient_temp_c": rng.normal(22.0, 4.0, n),
            "low_level_probe_wet": np.ones(n),
            "tank_float_up": np.zeros(n),
            "motor_running": (power > 200).astype(float),
        },
    )


def best(work, rounds: int = ROUNDS) -> float:
    """Least seconds of several rounds: what is over it is the machine's other work."""
    seconds = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def main(n: int, seed: int | None = None) -> float:
    """Print the ratios; the share of IsolationForest's time."""
    facts = read_site(SITE)
    start = time.perf_counter()
    model = SiteModel(facts)
    model.lines()
    build = time.perf_counter() - start
    seed = secrets.randbelow(2**31) if seed is None else seed
    rows = season(model, n, seed)
    frame = np.column_stack(list(rows.values.values()))
    expect = best(lambda: model.expect(rows))
    forest = best(lambda: IsolationForest(random_state=0).fit(frame).score_samples(frame), 2)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "season.parquet"
        pq.write_table(pa.table({"time": rows.time_ms, **rows.values}), path)
        read = best(lambda: pq.read_table(path).to_pandas())
    tracemalloc.start()
    seen = model.expect(rows)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    input_bytes = frame.nbytes + rows.time_ms.nbytes
    lit = float(np.mean(seen.daylight))
    print(f"seed {seed}, rows {n}, in daylight {lit:.0%}, channels {frame.shape[1]}")
    missed = "" if expect <= GOAL * forest else "   MISSED"
    print(f"expected columns / IsolationForest fit and score: 1 / {forest / expect:.1f} (goal: at most 1 / 12){missed}")
    print(f"the same with building the site's tables: 1 / {forest / (expect + build):.1f}")
    print(f"expected columns / reading the rows from Parquet: {expect / read:.2f}")
    print(f"memory at its peak / the rows' own: {peak / input_bytes:.1f} (29 columns for 11)")
    print(f"microseconds a row here: expected {expect / n * 1e6:.3f}, IsolationForest {forest / n * 1e6:.2f}")
    return expect / forest


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]) if len(sys.argv) > 1 else (260_000,))
