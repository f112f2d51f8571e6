"""A fault of the first days that heals is no reason to be blind for the next."""

from datetime import timedelta

import pytest

from analysis.pipeline import advance, begin
from samples.cases import SEASON_START, draw_site
from samples.faults import Fault
from samples.season import make_season
from tests.bench.bench_diagnosis import rows_of_frame


@pytest.mark.parametrize(("seed", "kind"), [(0, "helical-rotor"), (1, "multistage-centrifugal")])
def test_what_comes_after_a_leak_of_the_first_week_that_healed_is_told(seed: int, kind: str) -> None:
    facts = draw_site(seed, kind, "middle")
    begins = SEASON_START + timedelta(days=12)
    faults = [
        Fault("riser-leak", SEASON_START - timedelta(days=1), SEASON_START + timedelta(days=6), 0.3),
        Fault("clogging", begins, None, 0.2),
    ]
    frame, _ = make_season(facts, faults, SEASON_START, SEASON_START + timedelta(days=30), 600, seed)
    rows = rows_of_frame(frame)
    found = advance(begin(facts), rows, int(rows.time_ms.max())).findings
    told = [one for one in found if one.flagged[:10] >= begins.strftime("%Y-%m-%d")]
    assert told, [(one.cause, one.flagged) for one in found]
    assert "clogging" in {told[0].cause, told[0].first_cause, *(rival.cause for rival in told[0].also_possible)}
