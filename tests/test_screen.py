"""The screen holds back no day on which a watcher would find something, and lets most quiet days pass it by."""

import numpy as np
import pandas as pd
import pytest

from analysis import pipeline
from analysis.rows import Rows
from analysis.watchers import episodes_of, watchers
from logger.record.channels import CHANNELS
from samples.cases import draw_case

CASES = [
    (71, "full", ("dry-running", "sensor-fault")),
    (72, "middle", ("controller-trip", "short-cycling")),
    (73, "lean", ("failed-start", "silent")),
    (74, "full", ()),
]


def _rows(frame):
    time_ms = pd.to_datetime(frame["time"], utc=True, format="ISO8601").dt.as_unit("ms").astype("int64").to_numpy()
    return Rows(time_ms, {name: frame[name].to_numpy(float) for name in frame.columns if name in CHANNELS})


@pytest.mark.parametrize(("seed", "fit", "causes"), CASES)
def test_what_is_not_asked_would_have_found_nothing(monkeypatch, seed, fit, causes):
    case = draw_case(seed, fit=fit, days=45, step_s=300, causes=causes)
    rows = _rows(case.frame)
    asked_by_day, held_back = [], []
    close_day, of_day = pipeline.close_day, pipeline.Columns.of_day
    slices = {}

    def kept(self, day):
        slices[day] = of_day(self, day)
        return slices[day]

    def closed(plant, view, figures, asked):
        columns = slices.get(view.day) if view.columns is None else view.columns
        whole = pipeline.replace(view, columns=columns)
        found = {episode.cause or episode.symptom for episode in episodes_of(whole)}
        asked_by_day.append(len(list(asked)))
        held_back.extend(sorted(found - set(asked)))
        return close_day(plant, view, figures, asked)

    real = pipeline.screen

    def screened(plant, memory, seen, heard_ms, days):
        for day in days:  # also the days that nobody will ask for
            kept(seen, day)
        return real(plant, memory, seen, heard_ms, days)

    monkeypatch.setattr(pipeline, "close_day", closed)
    monkeypatch.setattr(pipeline, "screen", screened)
    pipeline.advance(pipeline.begin(case.facts), rows, int(rows.time_ms.max()))
    assert len(asked_by_day) > 30
    assert held_back == []
    if not causes:
        assert np.mean(asked_by_day) < 0.6 * len(watchers()), "the screen lets everything through"
