"""The other tables: what was put is got back; migrations make what the schema says; changes are told once."""

import numpy as np
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from analysis.rows import Rows
from analysis.store import StoreError, findings, open_store, outbox, state, summaries, tally
from analysis.store.boards import put_health, put_presence, put_urgent
from analysis.store.schema import metadata
from analysis.store.users import hash_password, password_fits
from analysis.summary import DaySummary, SiteNow
from logger.record.finding import Finding, Rival, Size
from logger.record.site_file import SiteFileError


def a_finding(name="north-1", **rest) -> Finding:
    """A finding as the engine makes one."""
    given = {
        "cause": "clogging",
        "first_cause": "clogging",
        "began": "2025-11-03T00:00:00Z",
        "flagged": "2025-11-09T18:00:00Z",
        "confidence": 0.9,
        "evidence": "figures",
        "check": "look",
        "also_possible": (Rival("worn-pump", 0.05),),
        "size": Size("flow lost", 0.3, 0.2, 0.4, "fraction"),
    }
    return Finding(name, **{**given, **rest})


def test_migrations_make_what_the_schema_says(store):
    with store.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection, opts={"compare_type": True}), metadata) == []


@pytest.mark.usefixtures("store")
def test_opening_again_changes_nothing(url):
    again = open_store(url)
    assert [one.id for one in again.sites()] == ["north", "south"]
    again.close()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("nonsense", "nonsense: no store can be opened there"),
        ("mysql://x/y", "mysql://x/y: no store can be opened there"),
        ("sqlite://", "sqlite://: a store in memory cannot be shared"),
        ("sqlite:////no/such/folder/x.db", "the folder /no/such/folder does not exist"),
        ("sqlite:////", "cannot be opened"),
    ],
)
def test_a_store_that_cannot_be_opened_says_why_and_what_mends_it(wrong, said):
    with pytest.raises(StoreError) as caught:
        open_store(wrong)
    assert said in str(caught.value)
    assert "\n    fix: " in str(caught.value)


def test_a_site_is_its_file(store, site_text):

    assert store.site_facts("north").well.static_level_m == 38.0
    store.put_site(site_text("north", 41.0))
    assert store.site_facts("north").well.static_level_m == 41.0
    assert len(store.sites()) == 2
    with pytest.raises(SiteFileError):
        store.put_site("[site]\nid = 'west'\n")
    assert len(store.sites()) == 2
    with pytest.raises(KeyError):
        store.site_facts("nowhere")


def test_findings_come_back_and_only_what_differs_is_new(store):
    ended = a_finding("north-2", ended="2025-11-10T00:00:00Z", flagged="2025-11-09T19:00:00Z")
    withdrawn = a_finding("north-3", withdrawn="the readings came")
    with store.changing("north") as (connection, number):
        assert len(findings.put_findings(connection, number, (a_finding(), ended, withdrawn))) == 3
        assert findings.put_findings(connection, number, (a_finding(), ended)) == []
        assert findings.put_findings(connection, number, (a_finding(revision=2),)) == [a_finding(revision=2)]
    assert [one.id for one in store.findings("north")] == ["north-2", "north-1", "north-3"]
    assert store.findings(open_only=True) == [a_finding(revision=2)]
    assert store.findings_by_site(from_ms=findings.ms_of("2025-11-11T00:00:00Z"), open_only=True)[0][0] == "north"
    assert store.findings("north", to_ms=findings.ms_of("2025-11-01T00:00:00Z")) == []
    assert store.findings("south") == []


def test_now_and_days(store):
    present = SiteNow("north", 5, 4, "pumping", water_today_m3=1.5, tank_float_up=True)
    days = [
        DaySummary("north", f"2025-11-0{d}", 1.0, 2.0, 1.5, 2.5, 6.0, 8.0, 9.0, 7.0, 0.9, {"clogging": 1.0})
        for d in (1, 2, 3)
    ]
    with store.changing("north") as (connection, number):
        summaries.put_now(connection, number, present)
        summaries.put_days(connection, number, days)
        summaries.put_days(connection, number, days[:1])
    assert store.now("north") == present
    assert store.all_now() == {"north": present}
    assert store.now("south") is None
    assert store.days("north", "2025-11-02", "2025-11-03") == days[1:]


def test_boards_words(store):
    assert store.health("north") is None
    with store.changing("north") as (connection, number):
        put_presence(connection, number, {"online": True})
        put_health(connection, number, {"spool": 4})
        assert put_urgent(connection, number, "dry-running", 77, {"level": "low"})
        assert not put_urgent(connection, number, "dry-running", 77, {"level": "low"})
    assert store.presence("north")["online"] is True
    assert store.health("north")["spool"] == 4
    assert [(one["cause"], one["time_ms"], one["level"]) for one in store.urgents("north")] == [
        ("dry-running", 77, "low")
    ]


def test_tallies_count_and_strangers_cannot_fill_the_table(store, monkeypatch):
    monkeypatch.setattr(tally, "SITES_MAX", 3)
    with store.writing() as connection:
        for number in range(10):
            tally.count(connection, f"stranger-{number}", "refused", "unknown site", example="x" * 1000)
        tally.count(connection, "stranger-0", "refused", "unknown site", 5)
        tally.count(connection, "stranger-0", "refused", "nothing", 0)
    kept = {one.site: one.count for one in store.tallies()}
    assert kept == {"stranger-0": 6, "stranger-1": 1, "stranger-2": 1, "?": 7}
    assert len(store.tallies("?")[0].example) == tally.EXAMPLE_MAX


def test_changes_are_told_since_a_token_by_site(store, url):
    other = open_store(url)
    token, sites = other.changes_after(None)
    assert sites == frozenset()
    assert other.changes_after(token) == (token, frozenset())
    with store.changing("north"):
        pass
    later, sites = other.changes_after(token)
    assert (later > token, sites) == (True, {"north"})
    with store.changing("south"):
        pass
    assert other.changes_after(token).sites == {"north", "south"}
    assert other.changes_after(later).sites == {"south"}
    assert other.changes_after(10**9).sites == {"north", "south"}, "a token of another database"
    other.close()


def test_people(store):
    kept = hash_password("gate by the wheel")
    store.put_user("ama", kept, "farmer", ["north"])
    store.put_user("kofi", kept, "admin")
    assert store.user("ama").sites == ("north",)
    assert store.user("kofi").sites is None
    assert store.user("nobody") is None
    assert password_fits("gate by the wheel", store.user("ama").password_hash)
    assert not password_fits("gate by the Wheel", kept)
    assert hash_password("gate by the wheel") != kept
    with pytest.raises(ValueError, match="no such role: 'king'"):
        store.put_user("ama", kept, "king")
    store.drop_user("ama")
    assert [one.name for one in store.users()] == ["kofi"]


def test_what_people_did(store):
    store.put_act("north", "acknowledged", "kofi", "north-1")
    store.put_act("north", "shelved", "kofi", "north-1", until_ms=99, why="parts ordered")
    store.put_act("north", "visit", "kofi")
    assert [one["kind"] for one in store.acts("north")] == ["acknowledged", "shelved", "visit"]
    assert [(one["until_ms"], one.get("why")) for one in store.acts("north", "north-1")] == [
        (None, None),
        (99, "parts ordered"),
    ]


def test_outbox_keeps_until_it_was_told(store):
    with store.writing() as connection:
        outbox.put_letter(connection, 1, "notice", {"words": "a"}, "north-1")
        outbox.put_letter(connection, 1, "notice", {"words": "b"})
    first, second = store.unsent("notice")
    assert (first.site, first.doc, first.finding_id) == ("north", {"words": "a"}, "north-1")
    store.mark_failed(first.no, "no answer")
    store.mark_sent([second.no])
    assert [(one.no, one.tries) for one in store.unsent("notice")] == [(first.no, 1)]
    assert store.unsent("findings") == []


def test_states_at_closes(store):
    with store.changing("north") as (connection, number):
        state.keep_closes(connection, number, "facts", {10: b"ten", 20: b"twenty", 30: b"thirty"}, [10, 20, 30])
        state.keep_closes(connection, number, "facts", {40: b"forty"}, [10, 30, 40])
        assert state.closes(connection, number, "facts") == [10, 30, 40]
        assert state.snapshot(connection, number, 30) == b"thirty"
        with pytest.raises(KeyError):
            state.snapshot(connection, number, 20)
        state.keep_closes(connection, number, "new facts", {30: b"other"}, [30])
        assert (state.closes(connection, number, "facts"), state.closes(connection, number, "new facts")) == ([], [30])
        state.put_judged(connection, number, "facts", 30)
        state.put_judged(connection, number, "facts", 35)
        assert state.judged_until(connection) == {"north": 35}
        assert state.closes(connection, number, "new facts") == [30]


def test_changes_wait_until_they_are_dealt_with(store):
    with store.changing("north") as (connection, number):
        state.note_change(connection, number, 50)
        state.note_change(connection, number, 40)
        assert state.changed_sites(connection) == ["north"]
        noted = state.changes(connection, number)
        assert sorted(noted.values()) == [40, 50]
        state.note_change(connection, number, 60)
        state.drop_changes(connection, noted)
        assert list(state.changes(connection, number).values()) == [60]


def test_new_facts_have_the_site_judged_anew(store, site_text):
    with store.reading() as connection:
        assert state.changed_sites(connection) == []
    store.load_history("north", Rows(np.array([7, 8]), {"flow_m3_h": np.array([1.0, 2.0])}))
    with store.changing("north") as (connection, number):
        state.drop_changes(connection, state.changes(connection, number))
    store.put_site(site_text("north"))
    with store.reading() as connection:
        assert state.changed_sites(connection) == [], "the same facts"
    store.put_site(site_text("north", 45.0))
    with store.reading() as connection:
        assert list(state.changes(connection, 1).values()) == [7]


@pytest.mark.parametrize(
    "url", ["postgresql"], indirect=True
)  # on SQLite one worker runs; its lock is tested with watch
def test_a_site_is_claimed_by_one_worker(store):
    with store.writing() as mine, store.writing() as other:
        assert state.claim(mine, "north")
        assert not state.claim(other, "north")
        assert state.claim(other, "south")
