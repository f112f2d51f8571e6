"""The whole board on a simulated clock, disk and link: days of outage in seconds."""

import json
import random
from pathlib import Path

import pytest

from logger.agent import Agent, Parts, presence
from logger.clock import BoardClock
from logger.health import Health
from logger.outbox import Outbox
from logger.sd_notify import Notifier
from logger.sender import ROWS_MAX, Sender
from logger.settings_tables import Board
from logger.sources.base import Paced, SourceError
from logger.spool import Spool, SpoolError
from tests.faults import FakeTime, FaultyDisk, PowerCut
from tests.logger.other_end import LinkInMemory, Receiver

SITE = "north-kraal"
NOV_2025_MS = 1_763_000_000_000
DAY_S = 86_400


class Drive(Paced):
    """Says what the test wants, counts what it said."""

    def __init__(self, period_s: float = 60.0, name: str = "drive", channels=("pv_voltage_v", "volume_m3")):
        super().__init__(name, channels, period_s)
        self.reads, self.fails, self.closed = 0, False, False

    def read(self, _turn):
        self.reads += 1
        if self.fails:
            raise SourceError("drive: nothing heard; is the cable in?")
        return {"pv_voltage_v": 300.0 + self.reads % 7, "volume_m3": self.reads / 100}

    def close(self):
        self.closed = True


class Watched(Notifier):
    def __init__(self):
        super().__init__("")
        self.fed = 0

    def alive(self):
        self.fed += 1


class Site:
    """One board with everything that outlives its starts: time, disk, server."""

    def __init__(self, disciplined: bool = True, **board):
        self.time = FakeTime(NOV_2025_MS, 60_000, disciplined)
        self.disk = FaultyDisk()
        self.receiver = Receiver()
        self.kernel = "kernel-1"
        self.board = Board(**{"site": SITE, "interval_s": 60.0, "sync_every_s": 10.0} | board)
        self.starts = 0
        self.hold_s = 900.0
        self.batch_s = 60.0
        self.rest_s_max = 1.0
        self.at_once_per_day = 10_000

    def start(self, *sources, link: LinkInMemory | None = None, limit_bytes: int = 64_000_000) -> Agent:
        self.starts += 1
        self.spool = Spool(Path("/s"), self.kernel, f"{self.starts:08x}", disk=self.disk, limit_bytes=limit_bytes)
        self.clock = BoardClock(self.time, self.spool.boots.latest_ms, self.spool.boot.offset_ms)
        self.link = link or LinkInMemory(self.time, self.receiver)
        self.sender = Sender(
            SITE, self.spool, self.link, self.clock, "pack", self.batch_s, self.hold_s, self.at_once_per_day
        )
        self.health = Health("0", "d", self.spool, self.link, self.sender, self.clock)
        self.notifier = Watched()
        self.sources = list(sources) or [Drive()]
        return Agent(
            Parts(
                self.board, self.sources, self.spool, self.clock, self.link, self.sender, self.health,
                self.notifier, now_s=self.time.now_s, rest_s_max=self.rest_s_max,
            )
        )  # fmt: skip

    def run(self, agent: Agent, seconds: float) -> None:
        ends_s = self.time.now_s() + seconds
        while self.time.now_s() < ends_s:
            agent.turn()
            agent.rest()

    def cut_power(self, dark_s: float = 0.0) -> None:
        """The board starts again later: the wall clock is behind by the outage, the monotonic one starts anew."""
        self.disk = self.disk.after_power_cut()
        self.kernel += "x"
        self.time.now_mono_ms = 5_000
        del dark_s


def rows_of(site: Site, boot: str) -> list:
    return [site.receiver.rows[key] for key in sorted(site.receiver.rows) if key[0] == boot]


def test_every_minute_arrives_once_and_the_spool_empties():
    site = Site()
    agent = site.start()
    site.link.up()
    site.run(agent, 3600)
    boot = site.spool.boot.name
    rows = rows_of(site, boot)
    assert 59 <= len(rows) <= 61
    assert max(site.receiver.twice.values()) == 1
    assert all(row.clock == "good" and row.time_ms % 60_000 == 0 for row in rows)
    assert site.sender.outbox.stored_seq(boot) >= len(rows)
    assert (boot, 1) in site.receiver.tombstones, "the first of a boot only announces it"


def test_days_without_a_network_then_the_backlog_drains_and_live_rows_do_not_wait():
    site = Site()
    site.rest_s_max = 10.0
    agent = site.start()
    site.run(agent, 5 * DAY_S)
    assert site.receiver.arrivals == []
    before = site.spool.accepted_seq
    site.link.ack_s = 30.0
    site.link.up()
    site.run(agent, 600)
    boot = site.spool.boot.name
    live = [place for place, (_, seq) in enumerate(site.receiver.arrivals) if seq > before]
    first_live = site.receiver.arrivals[live[0]]
    assert live[0] <= 2 * 3 * 500 + 1, f"the first live row came after {live[0]} others: {first_live}"
    backlog = [seq for _, seq in site.receiver.arrivals if seq <= before]
    assert backlog == sorted(backlog), "oldest first"
    assert site.receiver.stored()[boot] >= site.spool.accepted_seq - 2
    assert max(site.receiver.twice.values()) == 1, "nothing was sent twice"
    assert site.spool.kept_rows < 600


@pytest.mark.parametrize("form", ["pack", "senml-cbor"])
def test_a_server_that_lost_its_store_hears_that_the_freed_rows_will_not_come_and_tells_stored_again(form):
    site = Site()
    site.rest_s_max = 10.0
    agent = site.start()
    site.sender.form = form
    site.sender.outbox = Outbox(site.spool.boot.name, ROWS_MAX[form])
    site.sender.outbox.known(site.spool.boot.name, 1)
    site.link.up()
    site.run(agent, 8 * DAY_S)
    boot, freed = site.spool.boot.name, site.spool.first_seq(site.spool.boot.name) - 1
    assert freed > 5000, "more than one batch of tombstones"
    site.receiver.__init__()
    published = len(site.link.told)
    site.run(agent, 3600)
    receiver = site.receiver
    assert receiver.stored()[boot] >= site.spool.accepted_seq - 2
    assert {seq for _, seq in receiver.tombstones} >= set(range(1, freed + 1))
    assert not any(seq <= freed for _, seq in receiver.rows), "what was freed is not invented"
    assert {seq for _, seq in receiver.rows} >= set(range(freed + 1, site.spool.accepted_seq - 2))
    assert sum(len(payload) for _, payload in site.link.told[published:]) < 60_000


class Flapping(Drive):
    """Its motor starts and stops every two minutes."""

    def __init__(self):
        super().__init__(channels=("pv_voltage_v", "volume_m3", "motor_running"))

    def read(self, turn):
        return super().read(turn) | {"motor_running": float(self.reads // 2 % 2)}


def test_a_metered_link_carries_a_batch_an_hour_and_a_bounded_number_of_changes():
    site = Site()
    site.rest_s_max, site.batch_s, site.at_once_per_day = 10.0, 3600.0, 12
    agent = site.start(Flapping())
    site.link.up()
    site.run(agent, 2 * DAY_S)
    told = [kind for kind, _ in site.link.told if kind == "readings"]
    assert 2 * 24 <= len(told) <= 2 * (24 + 12) + 2
    assert site.sender.counts["changes_waited"] > 100
    assert site.sender.counts["batches"] == len(told)
    boot = site.spool.boot.name
    assert site.receiver.stored()[boot] >= site.spool.accepted_seq - 120
    assert max(site.receiver.twice.values()) == 1


def test_changes_while_the_link_is_down_do_not_wear_the_card():
    site = Site(interval_s=0, sync_every_s=60.0)
    agent = site.start(Flapping())
    site.run(agent, 3600)
    assert site.spool.counts["syncs"] <= 60 + 31, "one a minute, and one for each change"


def test_a_broker_without_a_server_frees_nothing_and_loses_nothing():
    site = Site()
    agent = site.start()
    site.link.up()
    site.link.server = False
    site.run(agent, 6 * 3600)
    assert site.receiver.arrivals == []
    assert site.link.counts["published_bytes"] < 100_000, "and it costs a bounded amount of data"
    site.link.server = True
    site.run(agent, 1500)
    boot = site.spool.boot.name
    assert site.receiver.stored()[boot] >= site.spool.accepted_seq - 2
    assert len(rows_of(site, boot)) >= 6 * 60


def test_times_made_before_the_clock_was_known_are_repaired_when_the_server_answers():
    site = Site(disciplined=False)
    site.time.now_wall_ms = NOV_2025_MS - 400 * DAY_S * 1000
    agent = site.start()
    site.run(agent, 3 * 3600)
    true_ms = NOV_2025_MS
    site.time.now_wall_ms = true_ms + 3 * 3600 * 1000  # what the server says; nobody vouches for the board's own
    site.link.up()
    site.run(agent, 900)
    rows = rows_of(site, site.spool.boot.name)
    assert {row.clock for row in rows} == {"repaired"}
    assert len(rows) >= 180
    assert abs(rows[0].time_ms - true_ms) <= 120_000
    assert abs(rows[-1].time_ms - true_ms - 3 * 3600 * 1000 - 900_000) <= 200_000
    assert site.receiver.times_changed == 0


def test_a_boot_that_never_knew_the_time_goes_out_unsure_in_the_next_and_keeps_its_order():
    site = Site(disciplined=False)
    agent = site.start()
    site.run(agent, 3600)
    first = site.spool.boot.name
    site.cut_power()
    site.time.is_disciplined = True
    agent = site.start()
    site.link.up()
    site.run(agent, 600)
    unsure = rows_of(site, first)
    assert {row.clock for row in unsure} == {"unsure"}
    assert len(unsure) >= 55
    assert [row.time_ms for row in unsure] == sorted(row.time_ms for row in unsure)
    assert {row.clock for row in rows_of(site, site.spool.boot.name)} == {"good"}


def test_a_server_that_never_tells_the_time_gets_the_rows_unsure_after_a_bounded_wait():
    site = Site(disciplined=False)
    agent = site.start()
    site.link.up()
    site.link.answers_time = False
    site.run(agent, 800)
    assert rows_of(site, site.spool.boot.name) == []
    site.run(agent, 400)
    rows = rows_of(site, site.spool.boot.name)
    assert {row.clock for row in rows} == {"unsure"}
    assert len(rows) >= 12


def test_a_server_that_is_away_for_hours_costs_no_reading_its_time():
    """One row at most goes out unsure, as the question; it too is repaired when the server answers."""
    site = Site(disciplined=False)
    site.time.now_wall_ms = NOV_2025_MS - 400 * DAY_S * 1000
    agent = site.start()
    site.link.up()
    site.link.server = False
    site.run(agent, 4 * 3600)
    site.link.server, site.time.now_wall_ms = True, NOV_2025_MS
    site.run(agent, 3600)
    rows = rows_of(site, site.spool.boot.name)
    assert len(rows) >= 5 * 60 - 2
    assert {row.clock for row in rows} == {"repaired"}
    assert rows[0].time_ms == pytest.approx(NOV_2025_MS - 4 * 3_600_000, abs=200_000)


def test_rows_that_went_out_unsure_are_kept_and_go_out_again_when_the_time_is_learnt():
    site = Site(disciplined=False)
    agent = site.start()
    site.link.up()
    site.link.answers_time = False
    site.run(agent, 12 * 3600)
    boot = site.spool.boot.name
    assert {row.clock for row in rows_of(site, boot)} == {"unsure"}
    assert site.spool.first_seq(boot) == 1, "kept although stored"
    site.time.is_disciplined, site.time.now_wall_ms = True, NOV_2025_MS + 99 * DAY_S * 1000
    site.run(agent, 1800)
    rows = rows_of(site, boot)
    assert {row.clock for row in rows} == {"repaired", "good"}
    assert [row.time_ms for row in rows] == sorted(row.time_ms for row in rows)
    assert rows[0].time_ms == pytest.approx(NOV_2025_MS + 99 * DAY_S * 1000 - 12 * 3_600_000, abs=120_000)
    assert site.spool.boots.by_name[boot].unsure_upto == 0
    assert site.spool.kept_rows < 600, "and then they are freed"
    again = [key for key, times in site.receiver.twice.items() if times > 2]
    assert again == []


def test_the_retained_answer_of_long_ago_tells_no_time():
    site = Site(disciplined=False)
    agent = site.start()
    site.link.answers_time = False
    site.link._kept = {}
    site.link.up()
    site.run(agent, 60)
    assert site.clock.learnt is None


def test_a_failing_source_is_null_and_counted_and_the_other_goes_on():
    site = Site(interval_s=0.0)
    bad = Drive(60.0, "bad", ("module_temp_c", "fault_code"))
    bad.fails = True
    agent = site.start(Drive(60.0), bad)
    site.link.up()
    site.run(agent, 3600)
    row = rows_of(site, site.spool.boot.name)[-1]
    assert row.values["module_temp_c"] is None
    assert row.values["fault_code"] is None
    assert row.values["pv_voltage_v"] is not None
    told = json.loads(site.health.as_json(0, 0, site.sources))
    assert told["sources"]["bad"]["failed"] == told["sources"]["bad"]["read"] >= 59
    assert told["sources"]["bad"]["last_trouble"] == "drive: nothing heard; is the cable in?"
    assert told["sources"]["bad"]["failed_since_ms"] >= NOV_2025_MS
    assert told["sources"]["drive"]["failed"] == 0


def test_the_journal_says_once_what_fails_and_once_when_it_is_well_again(caplog):
    caplog.set_level("INFO", "logger.agent")
    site, drive = Site(), Drive(60.0)
    drive.fails = True
    agent = site.start(drive)
    site.run(agent, 600)
    drive.fails = False
    site.link.up()
    site.run(agent, 600)
    said = [record.message for record in caplog.records]
    assert sum("nothing heard; is the cable in?" in text for text in said) == 1
    assert sum(text.startswith("drive: read again, after failing") for text in said) == 1
    assert said.count("connected to the broker") == 1


def test_a_slow_source_makes_the_others_late_and_that_is_counted():
    site = Site()

    class Slow(Drive):
        def read(self, turn):
            site.time.pass_s(95)
            return super().read(turn)

    quick = Drive(10.0, "quick", ("module_temp_c",))
    agent = site.start(quick, Slow(300.0, "slow", ("pv_voltage_v", "volume_m3")))
    site.run(agent, 1000)
    assert site.health.care(quick).late >= 8 * 3
    assert site.health.sources["slow"].slowest_s == 95.0


@pytest.mark.parametrize("mono_ms", [0, 1])
def test_samples_of_one_millisecond_get_one_each(mono_ms: int):
    """A line that waited in a buffer is read at once; the store knows a reading by its time.

    mono_ms: the two clocks turn their milliseconds at different moments: the machine's may have gone on where the day's has not.
    """
    site = Site(interval_s=0.0)

    site.batch_s = 1.0

    class AlwaysDue(Drive):
        def due(self, _turn):
            site.time.now_mono_ms += mono_ms
            return True

    agent = site.start(AlwaysDue())
    site.link.up()
    for _ in range(5):
        agent.turn()
    site.run(agent, 60)
    times = [row.time_ms for row in rows_of(site, site.spool.boot.name) if row.values]
    assert len(times) >= 5
    assert len(set(times)) == len(times)
    assert max(times) <= site.time.wall_ms() + len(times)


def test_values_no_instrument_can_honestly_say_are_refused_and_counted():
    site = Site(interval_s=0.0)

    class Liar(Drive):
        def read(self, _turn):
            return {"pv_voltage_v": 6553.5, "volume_m3": float("nan")}

    agent = site.start(Liar())
    site.link.up()
    site.run(agent, 130)
    assert rows_of(site, site.spool.boot.name)[-1].values == {"pv_voltage_v": None, "volume_m3": None}
    assert site.health.refused_values >= 4


def test_the_watchdog_is_fed_only_when_everything_read_is_on_disk():
    site = Site(interval_s=0.0, sync_every_s=3600.0)
    agent = site.start(Drive(1.0))
    site.run(agent, 600)
    assert site.notifier.fed == 0, "an hour may pass unsynced: nobody may think that it is safe"
    site = Site(interval_s=0.0, sync_every_s=5.0)
    agent = site.start(Drive(1.0))
    site.run(agent, 600)
    assert 90 <= site.notifier.fed <= 130


def test_an_unwritable_spool_ends_the_agent():
    site = Site(interval_s=0.0, sync_every_s=0.0)
    agent = site.start(Drive(1.0))
    site.run(agent, 60)
    site.disk.kind, site.disk.fail_at = "for good", site.disk.calls + 1
    with pytest.raises(SpoolError, match="made to fail"):
        site.run(agent, 60)


def test_presence_and_health_are_told_on_every_connection():
    site = Site()
    agent = site.start()
    site.link.up()
    site.run(agent, 60)
    site.link.down()
    site.run(agent, 60)
    site.link.up()
    site.run(agent, 60)
    kinds = [kind for kind, _ in site.link.told]
    assert kinds.count("presence") == 2
    assert kinds.count("health") == 2
    assert json.loads(presence(False, None, "b")) == {"online": False, "since_ms": None, "boot": "b"}


def test_every_call_to_the_brokers_client_fails_in_turn_and_everything_arrives():
    for fail_at in range(1, 40):
        site = Site(sync_every_s=0.0)
        link, calls = LinkInMemory(site.time, site.receiver), []
        works = link.publish

        def publish(kind, payload, calls=calls, works=works, fail_at=fail_at):
            calls.append(kind)
            return None if len(calls) == fail_at else works(kind, payload)

        link.publish = publish
        agent = site.start(link=link)
        link.up()
        site.run(agent, 2400)
        assert site.receiver.stored()[site.spool.boot.name] >= 37, f"call {fail_at}"
    assert len(calls) >= 40, "the sweep never reached the later calls"


@pytest.mark.parametrize("seed", range(4))
def test_months_of_power_cuts_outages_and_a_server_that_comes_and_goes(seed):
    """Every reading that was accepted and not lost with the power arrives, once stored it stays as it is."""
    rng = random.Random(seed)
    site = Site(disciplined=False)
    site.rest_s_max = 20.0
    accepted: dict[str, int] = {}
    for _ in range(10):
        site.time.is_disciplined = rng.random() < 0.5
        agent = site.start(Drive(60.0))
        site.link.server = rng.random() < 0.7
        for _ in range(rng.randint(1, 4)):
            (site.link.up if rng.random() < 0.6 else site.link.down)()
            site.link.server = rng.random() < 0.7
            site.run(agent, rng.expovariate(1 / 5_000))
        accepted[site.spool.boot.name] = site.spool.accepted_seq
        site.cut_power()
    site.time.is_disciplined = True
    agent = site.start(Drive(60.0))
    site.link.up()
    site.run(agent, 7200)
    stored = site.receiver.stored()
    for boot, seq in accepted.items():
        assert stored[boot] >= seq, f"seed {seed}: boot {boot} has {seq}, the server {stored[boot]}"
    assert site.receiver.times_changed == 0, "a reading never changes once it went out"
    assert site.spool.boots_with_rows() == [site.spool.boot.name], "all older boots are freed"


def test_a_power_cut_amid_the_agents_work_loses_no_accepted_row():
    for fail_at in range(20, 400, 7):
        site = Site(interval_s=0.0, sync_every_s=2.0)
        site.disk = FaultyDisk(3, "power cut", fail_at)
        accepted = 0
        try:
            agent = site.start(Drive(1.0))
            for _ in range(400):
                agent.turn()
                accepted = site.spool.accepted_seq
                agent.rest()
        except PowerCut:
            pass
        boot = site.spool.boot.name
        site.cut_power()
        agent = site.start(Drive(1.0))
        site.link.up()
        site.run(agent, 60)
        assert site.receiver.stored().get(boot, 0) >= accepted, f"at disk call {fail_at}"
