"""However the rows come (in any blocks, order, doubled, late, with restarts between) the findings are the same; the prefix rule holds."""

import json
import zlib
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from analysis import pipeline
from analysis.memory import StateError
from analysis.pipeline import FAR_PAST_MS, LateRows, State, advance, begin, loads
from analysis.rows import Rows, joined, no_rows
from analysis.season import review_season
from analysis.snapshots import kept_snapshots, rewind
from logger.record.site_facts import SiteFacts
from logger.record.site_file import read_site
from tests.bench.bench_diagnosis import rows_of_frame
from tests.bench.farworld.case import draw_case
from tests.cases.recorded import case_folders, read_case

DAY_MS = 86_400_000


@cache
def season(days: int = 9) -> tuple[SiteFacts, Rows]:
    """A few days of a recorded case around the beginning of its fault."""
    folder = next(f for f in case_folders() if f.parent.name == "dry-running")
    facts, rows, _ = read_case(folder)
    last = int(rows.time_ms[-1])
    return facts, rows.take(rows.time_ms > last - days * DAY_MS)


@cache
def truth() -> tuple:
    """All in one piece."""
    facts, rows = season()
    state = advance(begin(facts), rows, int(rows.time_ms[-1]))
    return state.findings, state.days


def same(state: State) -> None:
    """Findings and days as in one piece."""
    findings, days = truth()
    assert state.findings == findings
    assert state.days == days


@pytest.mark.parametrize("hours", [1, 7, 24, 100])
def test_blocks_of_any_length_give_the_same(hours: int) -> None:
    facts, rows = season()
    state = begin(facts)
    edges = np.arange(int(rows.time_ms[0]) - 1, int(rows.time_ms[-1]) + hours * 3_600_000, hours * 3_600_000)
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        part = rows.take((rows.time_ms > low) & (rows.time_ms <= high))
        state = advance(state, part, min(int(high), int(rows.time_ms[-1])))
    same(state)


@pytest.mark.parametrize(
    ("seed", "cause"), [(42_000, "failed-start"), (42_008, "failed-start"), (42_009, "stalled-motor")]
)
def test_what_is_learnt_of_quiet_days_does_not_hang_on_the_block(seed: int, cause: str) -> None:
    """A season longer than a block: which quiet days are looked at in full differs with the blocks, what is learnt of them must not."""
    case = draw_case(seed, "full", cause, days=75)
    facts, rows = read_site(case.site_toml), rows_of_frame(case.frame)
    review = review_season(facts, rows)
    state, last = begin(facts), int(rows.time_ms.max())
    for low in range(int(rows.time_ms.min()) - 1, last, DAY_MS):
        part = rows.take((rows.time_ms > low) & (rows.time_ms <= low + DAY_MS))
        state = advance(state, part, min(low + DAY_MS, last))
    assert state.findings == review.findings
    assert state.memory.numbers == advance(begin(facts), rows, last).memory.numbers


@pytest.mark.parametrize("rows_together", [1, 4_000, 10**9])
def test_days_looked_at_together_give_the_same(rows_together: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline, "BLOCK_ROWS", rows_together)
    facts, rows = season()
    same(advance(begin(facts), rows, int(rows.time_ms[-1])))


@pytest.mark.parametrize(
    ("days", "rows_a_day", "most_days"), [(181, 86_400, 1), (181, 1_440, 37), (181, 96, 60), (900, 0, 60), (1, 5, 1)]
)
def test_blocks_hold_each_day_once_and_no_more_rows_than_fit(days: int, rows_a_day: int, most_days: int) -> None:
    found = pipeline.blocks(20_000, 20_000 + days, days * rows_a_day)
    assert [day for block in found for day in block] == list(range(20_000, 20_000 + days))
    assert max(map(len, found)) <= most_days
    assert max(map(len, found)) * rows_a_day <= max(1.1 * pipeline.BLOCK_ROWS, rows_a_day)


def test_shuffled_and_doubled_rows_give_the_same() -> None:
    facts, rows = season()
    order = np.random.default_rng(1).permutation(np.concatenate([np.arange(len(rows)), np.arange(0, len(rows), 3)]))
    state = advance(begin(facts), rows.take(order), int(rows.time_ms[-1]))
    same(state)
    closed = int(np.count_nonzero(rows.time_ms[::3] <= state.closed_until_ms))
    assert state.dropped["duplicate"] == closed
    assert state.dropped["conflicting"] == 0


def test_a_state_goes_to_bytes_and_back() -> None:
    facts, rows = season()
    half = int(rows.time_ms[len(rows) // 2])
    state = advance(begin(facts), rows.take(rows.time_ms <= half), half)
    back = loads(state.dumps(), facts)
    assert back.until_ms == back.closed_until_ms == state.closed_until_ms
    assert back.dumps() == state.dumps()
    assert len(state.dumps()) <= 64 * 1024
    rest = rows.take(rows.time_ms > back.closed_until_ms)
    same(advance(back, rest, int(rows.time_ms[-1])))


def test_a_state_of_another_engine_does_not_go_on(monkeypatch) -> None:
    facts, rows = season(4)
    state = advance(begin(facts), rows, int(rows.time_ms[-1]))
    kept = state.dumps()
    monkeypatch.setattr(pipeline, "ENGINE_VERSION", pipeline.ENGINE_VERSION + 1)
    with pytest.raises(StateError, match=r"judged by engine \d+, and this is engine \d+: run the site from its rows"):
        loads(kept, facts)
    unsaid = zlib.compress(
        json.dumps({k: v for k, v in json.loads(zlib.decompress(kept)).items() if k != "engine"}).encode()
    )
    with pytest.raises(StateError, match="an engine that did not say which"):
        loads(unsaid, facts)


def test_rows_before_the_last_close_are_refused_by_name() -> None:
    facts, rows = season()
    state = advance(begin(facts), rows, int(rows.time_ms[-1]))
    with pytest.raises(LateRows, match="came after the day up to"):
        advance(state, rows.take(slice(0, 5)), state.until_ms)


def test_prefix_rule() -> None:
    """What a review up to T has flagged keeps its id, time and first cause for ever, and nothing is flagged into the past."""
    facts, rows = season()
    whole = {(f.id, f.flagged, f.first_cause) for f in truth()[0]}
    for share in (0.3, 0.55, 0.62, 0.7, 0.85):
        until = int(rows.time_ms[int(share * len(rows))])
        state = advance(begin(facts), rows.take(rows.time_ms <= until), until)
        early = {(f.id, f.flagged, f.first_cause) for f in state.findings}
        assert early <= whole
        limit = np.datetime64(until, "ms")
        assert all(w in early for w in whole if np.datetime64(w[1].rstrip("Z"), "ms") <= limit)


class AnyArrival(RuleBasedStateMachine):
    """Rows arrive in any way that a link and a crash can think of; at the end the findings are those of one piece."""

    @initialize()
    def start(self) -> None:
        self.facts, rows = season(4)
        self.rows = rows
        self.stored = np.zeros(len(rows), bool)
        self.state = begin(self.facts)
        self.snapshots: dict[int, bytes] = {}
        self.until = int(rows.time_ms[0]) - 1

    def _save(self, state: State) -> None:
        self.snapshots[state.closed_until_ms] = state.dumps()
        self.snapshots = {close: self.snapshots[close] for close in kept_snapshots(list(self.snapshots))}

    def _take(self, which: np.ndarray, until: int) -> None:
        part = self.rows.take(which)
        self.stored[which] = True
        self.until = max(self.until, until)
        try:
            self.state = advance(self.state, part, self.until, self._save)
        except LateRows as late:
            data = rewind(self.snapshots, late.first_ms)
            self.state = begin(self.facts) if data is None else loads(data, self.facts)
            self.snapshots = {c: s for c, s in self.snapshots.items() if c < late.first_ms}
            again = self.rows.take(self.stored & (self.rows.time_ms > self.state.closed_until_ms))
            self.state = advance(self.state, again, self.until, self._save)

    @precondition(lambda self: not self.stored.all())
    @rule(count=st.integers(1, 200), lost=st.floats(0, 0.5), seed=st.integers(0, 99))
    def next_rows(self, count: int, lost: float, seed: int) -> None:
        """The next rows in time, some of them missing until later, in any order and some twice."""
        rng = np.random.default_rng(seed)
        ahead = np.flatnonzero(~self.stored & (self.rows.time_ms > self.until))[:count]
        if len(ahead):
            arrived = ahead[rng.random(len(ahead)) >= lost]
            doubled = np.concatenate([arrived, arrived[::5]])
            self._take(rng.permutation(doubled), int(self.rows.time_ms[ahead[-1]]))

    @rule(count=st.integers(1, 60))
    def late_rows(self, count: int) -> None:
        """Rows that were missing come after all."""
        late = np.flatnonzero(~self.stored & (self.rows.time_ms <= self.until))[:count]
        if len(late):
            self._take(late, self.until)

    @rule()
    def restart(self) -> None:
        """The program dies; what was saved at the last close is read again with the rows since."""
        if self.state.closed_until_ms == FAR_PAST_MS:
            self.state = begin(self.facts)
        else:
            self.state = loads(self.snapshots[self.state.closed_until_ms], self.facts)
        again = self.rows.take(self.stored & (self.rows.time_ms > self.state.closed_until_ms))
        self.state = advance(self.state, again if len(again) else no_rows(), self.until, self._save)

    @invariant()
    def nothing_is_flagged_in_the_future(self) -> None:
        if not hasattr(self, "state"):
            return
        for finding in self.state.findings:
            assert np.datetime64(finding.flagged.rstrip("Z"), "ms") <= np.datetime64(self.until + 60_000, "ms")

    def teardown(self) -> None:
        if not hasattr(self, "state"):
            return
        stored = self.rows.take(self.stored)
        until = max(self.until, 0)
        if len(stored):
            whole = advance(begin(self.facts), stored, until)
            assert self.state.findings == whole.findings
            assert self.state.days == whole.days


TestAnyArrival = AnyArrival.TestCase
TestAnyArrival.settings = settings(
    max_examples=12, stateful_step_count=10, deadline=None, suppress_health_check=list(HealthCheck)
)


def test_rows_joined_in_parts_are_the_same_rows() -> None:
    _, rows = season()
    again = joined([rows.take(slice(0, 100)), rows.take(slice(100, None))])
    assert (again.time_ms == rows.time_ms).all()


def test_the_day_is_looked_at_again_only_where_a_reading_of_its_light_came() -> None:
    """Whatever a state keeps of its open day, it says the same as one that never looked before."""
    facts, rows = season()
    half = int(rows.time_ms[len(rows) // 2])
    state = advance(begin(facts), rows.take(rows.time_ms <= half), half)
    close = state.closed_until_ms + DAY_MS
    base = state = advance(state, rows.take((rows.time_ms > half) & (rows.time_ms <= close)), close)
    assert base.closed_until_ms == close
    coming = rows.take((rows.time_ms > close) & (rows.time_ms < close + DAY_MS))
    evening = coming.take(slice(-40, None))
    noon = coming.take(slice(len(coming) // 2, len(coming) // 2 + 3))
    changed = Rows(noon.time_ms, {name: column + 1.0 for name, column in noon.values.items()})
    batches = [coming.take(slice(k, k + 25)) for k in range(0, len(coming), 25)]
    fed, looks = no_rows(), []
    for batch in [*batches, evening, changed, evening, noon]:
        until = max(state.until_ms, int(batch.time_ms.max()))
        state, fed = advance(state, batch, until), joined([fed, batch])
        fresh = advance(base, fed.take(fed.time_ms > base.closed_until_ms), until)
        assert (state.findings, state.now, state.dumps()) == (fresh.findings, fresh.now, fresh.dumps())
        looks.append(state.looked and state.looked.columns)
    assert 1 < len({id(columns) for columns in looks}) < len(batches) + 4


def test_rows_with_a_channel_that_none_had_before_are_looked_at_with_all_of_the_day() -> None:
    """What was worked out of the day's first rows holds while rows only follow, but not where these bring a channel of their own."""
    facts, rows = season()
    end = begin(facts).plant.days.close_ms(int(begin(facts).plant.days.day_of(int(rows.time_ms[len(rows) // 2]))))
    day = rows.take((rows.time_ms > end) & (rows.time_ms < end + DAY_MS))
    late = len(day) * 2 // 3
    bare = {
        name: column for name, column in day.values.items() if name not in ("water_level_m", "discharge_pressure_bar")
    }
    first, more = (
        Rows(day.time_ms[:late], {name: column[:late] for name, column in bare.items()}),
        day.take(slice(late, None)),
    )
    base = advance(begin(facts), no_rows(), end)
    state = advance(advance(base, first, int(first.time_ms[-1])), more, int(more.time_ms[-1]))
    fresh = advance(base, joined([first, more]), int(more.time_ms[-1]))
    assert (state.findings, state.now) == (fresh.findings, fresh.now)
    seen, anew = (one.looked.columns.expected for one in (state, fresh) if one.looked is not None)
    np.testing.assert_array_equal(seen.head_m, anew.head_m)
    np.testing.assert_array_equal(seen.flow_m3_h, anew.flow_m3_h)
