"""What happens to a record on its way: gaps, doubles, disorder, wrong clocks, meters that start again.

Flow: season.py -> HERE -> the table as it arrives.
Never: the plant, the instruments.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from samples.plant.streams import stream


@dataclass(frozen=True)
class Dirt:
    """All off unless asked for. Shares are of rows (or of values); times in seconds.

    `clock_drift_ppm`: the board's clock gains, set right at each `clock_set_days`. `register_restart`: the meter starts
    again at 0 once; `register_rollover_m3`: it rolls over there. `short_gaps`: a day, up to 40 minutes each.
    `unsure_hours`: for so long, once, the board starts without knowing the time and writes it a month behind; those rows carry
    `clock` = unsure.
    """

    dropped_share: float = 0.0
    null_share: float = 0.0
    doubled_share: float = 0.0
    shuffled_rows: int = 0
    short_gaps: float = 0.0
    clock_drift_ppm: float = 0.0
    clock_set_days: float = 7.0
    register_restart: bool = False
    register_rollover_m3: float | None = None
    jitter_s: float = 0.0
    unsure_hours: float = 0.0

    @property
    def clean(self) -> bool:
        return self == Dirt()


def soil_record(frame: pd.DataFrame, dirt: Dirt, seed: int) -> pd.DataFrame:
    """The record with `dirt` in it; the same seed gives the same dirt."""
    if dirt.clean or frame.empty:
        return frame
    rng = stream(seed, "dirt")
    frame = _register(frame.copy(), dirt, rng)
    count = len(frame)
    keep = rng.random(count) >= dirt.dropped_share
    if dirt.short_gaps:
        days = max(1.0, (frame["time"].iloc[-1] - frame["time"].iloc[0]).total_seconds() / 86400)
        for _ in range(rng.poisson(dirt.short_gaps * days)):
            begin = frame["time"].iloc[int(rng.integers(count))]
            inside = (frame["time"] >= begin) & (
                frame["time"] < begin + pd.Timedelta(minutes=float(rng.uniform(2, 40)))
            )
            keep &= ~inside.to_numpy()
    frame = frame.loc[keep].reset_index(drop=True)
    channels = [name for name in frame.columns if name != "time"]
    if dirt.null_share:
        frame[channels] = frame[channels].mask(rng.random((len(frame), len(channels))) < dirt.null_share)
    frame["time"] = _clock(frame["time"], dirt, rng)
    if dirt.unsure_hours:
        frame = _unsure(frame, dirt.unsure_hours, rng)
    if dirt.doubled_share:
        again = frame.loc[rng.random(len(frame)) < dirt.doubled_share]
        frame = pd.concat([frame, again], ignore_index=True)
    if dirt.shuffled_rows:
        order = np.argsort(np.arange(len(frame)) + rng.uniform(0, dirt.shuffled_rows, len(frame)), kind="stable")
        frame = frame.iloc[order].reset_index(drop=True)
    return frame


def _unsure(frame: pd.DataFrame, hours: float, rng: np.random.Generator) -> pd.DataFrame:
    begin = frame["time"].iloc[int(rng.integers(len(frame)))]
    lost = ((frame["time"] >= begin) & (frame["time"] < begin + pd.Timedelta(hours=hours))).to_numpy()
    behind = pd.Series(np.where(lost, 30.0, 0.0), index=frame.index)
    return frame.assign(time=frame["time"] - pd.to_timedelta(behind, unit="D"), clock=np.where(lost, "unsure", "good"))


def _register(frame: pd.DataFrame, dirt: Dirt, rng: np.random.Generator) -> pd.DataFrame:
    if "volume_m3" not in frame:
        return frame
    volume = frame["volume_m3"].to_numpy(float).copy()
    if dirt.register_restart:
        at = int(rng.integers(len(volume) // 4, max(len(volume) // 4 + 1, 3 * len(volume) // 4)))
        volume[at:] -= volume[at]
    if dirt.register_rollover_m3:
        volume = np.mod(volume, dirt.register_rollover_m3)
    frame["volume_m3"] = np.round(volume, 4)
    return frame


def _clock(time: pd.Series, dirt: Dirt, rng: np.random.Generator) -> pd.Series:
    moved = np.zeros(len(time))
    if dirt.clock_drift_ppm:
        since = (time - time.iloc[0]).dt.total_seconds().to_numpy()
        moved += np.mod(since, dirt.clock_set_days * 86400.0) * dirt.clock_drift_ppm * 1e-6
    if dirt.jitter_s:
        moved += rng.uniform(-dirt.jitter_s, dirt.jitter_s, len(time))
    return time + pd.to_timedelta(np.round(moved, 3), unit="s") if moved.any() else time
