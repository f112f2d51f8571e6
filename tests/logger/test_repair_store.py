"""Both ends of a repair: what the board publishes before and after it learns the time, taken by the real store."""

from sqlalchemy import func, select

from analysis.ingest.keeper import Message, keep
from analysis.store import open_store
from analysis.store.schema import reading, reading_unsure
from logger.record.topics import READINGS, topic_of
from samples.scenario import SITES
from tests.logger.test_agent import DAY_S, NOV_2025_MS, Site


def test_what_went_out_unsure_stands_repaired_in_the_store_and_nothing_is_left_aside(tmp_path):
    board = Site(disciplined=False)
    agent = board.start()
    board.link.up()
    board.link.answers_time = False
    board.run(agent, 3 * 3600)
    before = len(board.link.told)
    board.time.is_disciplined, board.time.now_wall_ms = True, NOV_2025_MS + DAY_S * 1000
    board.run(agent, 1800)

    store = open_store(f"sqlite:///{tmp_path}/store.db")
    store.put_site((SITES / "cistern-hill.toml").read_text().replace('id = "cistern-hill"', 'id = "north-kraal"'))
    counted = []
    for told in (board.link.told[:before], board.link.told[before:]):
        messages = [Message(topic_of("north-kraal", kind), payload) for kind, payload in told if kind == READINGS]
        keep(store, messages, board.time.wall_ms())
        with store.reading() as connection:
            counted.append(
                [
                    connection.execute(select(func.count()).select_from(one)).scalar()
                    for one in (reading, reading_unsure)
                ]
            )
    assert counted[0][0] == 0
    assert counted[0][1] >= 150, "kept aside, not judged"
    assert counted[1][1] == 0
    assert counted[1][0] >= counted[0][1] + 25
