"""How fast `wellhand review` is: rows per second against scikit-learn's IsolationForest, fit and score, on the same rows in the same run.

Run: python tests/bench/bench_review.py [days]
The rows are a simulated season of one-minute readings of one site; nights, which the review knows to pass over, are in both.
Measured: the engine on rows in memory, and the whole command from Parquet to findings and tables. Goal: five times as fast.
"""

import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
from sklearn.ensemble import IsolationForest

from analysis.merge import merged
from analysis.review_run import review
from analysis.season import review_rows, rows_of_frame
from logger.record.site_file import load_site
from samples.history import write_history

ROUNDS = 3
TIMES, IN_MEMORY = 5.0, "review, rows in memory"
SITE = "ochre-pan"


def best(work) -> float:
    """Least seconds of several rounds: what is over it is the machine's other work."""
    seconds = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def forest(values: np.ndarray) -> None:
    """Default settings, fit and score."""
    IsolationForest().fit(values).score_samples(values)


def main(days: int) -> None:
    """Print rows per second and the ratios."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_history(folder, datetime(2026, 3, 1, 4, tzinfo=UTC), days, sites=[SITE])
        site, file = folder / SITE / "site.toml", folder / SITE / "readings.parquet"
        frame = pd.read_parquet(file)
        facts, rows = load_site(site), merged(rows_of_frame(frame)).rows
        values = np.nan_to_num(np.column_stack(list(rows.values.values())))
        review_rows(facts, rows)  # the site's tables are made once
        seconds = {
            "IsolationForest, fit and score": best(lambda: forest(values)),
            IN_MEMORY: best(lambda: review_rows(facts, rows)),
            "review, Parquet to findings": best(lambda: quiet(lambda: review([site], [file], folder / "out"))),
        }
    base = seconds["IsolationForest, fit and score"]
    print(f"{len(rows)} rows, {values.shape[1]} channels, least of {ROUNDS} rounds")
    for what, took in seconds.items():
        missed = "   MISSED" if what == IN_MEMORY and base < TIMES * took else ""
        print(
            f"{what:32} {len(rows) / took:12,.0f} rows/s {1e6 * took / len(rows):8.2f} us/row {base / took:7.1f} x{missed}"
        )


def quiet(work) -> None:
    """Without the summary in words."""
    kept, sys.stdout = sys.stdout, open("/dev/null", "w")  # noqa: SIM115
    try:
        work()
    finally:
        sys.stdout.close()
        sys.stdout = kept


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 180)
