"""A wear that grows through a season, from the simulator's rows to the finding's size."""

from datetime import timedelta

import pytest

from logger.record.site_file import load_site
from samples.faults import Fault
from tests.bench import bench_baseline as bench


def test_a_wear_that_grew_into_a_dim_december_is_sized_by_the_water_it_costs():
    """The bands' usual shares of a day told this one 8 points too small, and the finding 13."""
    site, ends = load_site(bench.FOLDER / "quiet-fold.toml"), bench.START + timedelta(days=bench.DAYS)
    growing = Fault("worn-pump", bench.START, ends, 0.24, shape="ramp", options={"ramp_days": bench.DAYS})
    worn, sound = (bench.readings(site, faults, 907977) for faults in ([growing], []))
    facts, worn = bench.fitted(site, worn, speed=True)
    state, _ = bench.judged(facts, worn)
    true = bench.true_loss(bench.SiteModel(facts), worn, bench.fitted(site, sound, speed=True)[1])
    assert bench.seen_loss(state) == pytest.approx(true, abs=0.02)
    (finding,) = (f for f in state.findings if f.cause == "worn-pump")
    assert finding.size is not None
    assert finding.size.value == pytest.approx(true, abs=0.05)  # as of the last day whose bands told of it
    assert finding.size.low < true < finding.size.high
