"""`wellhand enrol` makes credentials that a real broker takes, and a topic list that lets a board do its own only."""

import queue
import stat
import tomllib

import paho.mqtt.client as paho
import pytest

from logger.cli import main
from logger.commands.log import run as _log_run  # noqa: F401 - the board file below is judged by the real command
from logger.enrolment import board_topics, with_topics, with_user
from logger.healthy_pump import healthy_table
from logger.link import Acked, Up
from logger.record.site_file import load_site
from logger.record.topics import topic_of
from logger.settings import load_settings
from logger.settings_tables import METERED
from samples.scenario import SITES
from tests.logger.broker import Broker
from tests.logger.test_link import SITE, WITHIN_S, Listener, link_to, wait_for

OTHER = "south-kraal"


def enrol(tmp_path, *more: str) -> int:
    return main(["enrol", *more, "--broker-dir", str(tmp_path / "broker"), "--out", str(tmp_path / "out")])


def password(tmp_path, user: str) -> str:
    return (tmp_path / "out" / user / "password").read_text().strip()


@pytest.mark.peer
def test_a_real_broker_lets_each_do_its_own_and_no_more(mosquitto, tmp_path, capsys):
    assert enrol(tmp_path, SITE) == 0
    assert enrol(tmp_path, OTHER) == 0
    assert enrol(tmp_path, "--server") == 0
    told = capsys.readouterr().out
    assert password(tmp_path, SITE) not in told
    settings = f"allow_anonymous false\nacl_file {tmp_path}/broker/topics\npassword_file {tmp_path}/broker/passwords"
    with Broker(mosquitto, tmp_path / "run", settings) as broker:
        server = Listener(broker.port, username="wellhand-server", password=password(tmp_path, "wellhand-server"))
        own = link_to(broker.port, tmp_path / "out" / SITE, username=SITE, password_file="password")
        own.start()
        wait_for(own, Up)
        for kind in ("readings", "urgent", "presence", "health"):
            token = own.publish(kind, kind.encode())
            assert wait_for(own, Acked) == Acked(token)
            assert server.next(kind).payload == kind.encode()
        own.close(None)

        refused = queue.Queue()
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        client.username_pw_set(SITE, password(tmp_path, SITE))
        client.on_publish = lambda _c, _d, mid, reason, _p: refused.put((mid, reason.is_failure))
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        sent = [
            client.publish(topic, b"x", 1)
            for topic in (topic_of(OTHER, "readings"), topic_of(SITE, "stored"), topic_of(SITE, "findings"), "anything")
        ]
        # this broker drops the line after a refusal, and the client comes again with the rest: a wait for one message may find no line
        answers = dict(refused.get(timeout=WITHIN_S) for _ in sent)
        client.loop_stop()
        assert answers == {one.mid: True for one in sent}
        server.close()


def test_the_boards_folder_is_closed_to_others_and_its_file_has_no_problems(tmp_path, capsys):
    (tmp_path / "authority.pem").write_text("certificate\n")
    assert enrol(tmp_path, SITE, "--host", "broker.example.org", "--ca-file", str(tmp_path / "authority.pem")) == 0
    folder = tmp_path / "out" / SITE
    assert stat.S_IMODE((folder / "password").stat().st_mode) == 0o600
    content = tomllib.loads((folder / "board.toml").read_text())
    assert (content["board"]["site"], content["mqtt"]["host"]) == (SITE, "broker.example.org")
    assert load_settings(folder / "board.toml").mqtt.batch_s == METERED["mqtt"]["batch_s"], "unless told otherwise"
    capsys.readouterr()
    assert main(["log", str(folder / "board.toml"), "--dry-run"]) == 0
    assert "no problems. Site north-kraal, 1 source(s). Nothing opened." in capsys.readouterr().out


def test_where_data_is_free_readings_go_every_minute(tmp_path):
    assert enrol(tmp_path, SITE, "--link", "free") == 0
    settings = load_settings(tmp_path / "out" / SITE / "board.toml")
    assert (settings.mqtt.link, settings.mqtt.batch_s, settings.board.health_every_s) == ("free", 60, 3600)


def test_the_site_file_gives_the_board_what_it_judges_by(tmp_path, capsys):
    site_file = SITES / "cistern-hill.toml"
    assert enrol(tmp_path, "--site", str(site_file)) == 0
    folder = tmp_path / "out" / "cistern-hill"
    pump, facts = load_settings(folder / "board.toml").pump, load_site(site_file)
    assert pump is not None
    assert (pump.kind, pump.start_delay_s) == (facts.pump.kind, facts.controller.start_delay_s)
    assert pump.voltage_max_v == facts.controller.max_input_voltage_v
    assert pump.expected == healthy_table(facts)
    assert enrol(tmp_path, "another-site", "--site", str(site_file)) == 2
    assert "is of the site 'cistern-hill', not 'another-site'" in capsys.readouterr().err
    (tmp_path / "bad.toml").write_text("[site]\n")
    assert enrol(tmp_path, "--site", str(tmp_path / "bad.toml")) == 2
    assert "bad.toml: site.id: missing" in capsys.readouterr().err


def test_a_known_site_keeps_its_password_unless_told(tmp_path, capsys):
    assert enrol(tmp_path, SITE) == 0
    before = password(tmp_path, SITE)
    assert enrol(tmp_path, SITE) == 2
    assert capsys.readouterr().err == "enrol: north-kraal has a password already\n    fix: --renew gives it a new one\n"
    assert password(tmp_path, SITE) == before
    (tmp_path / "out" / SITE / "board.toml").write_text("# finished by hand\n")
    assert enrol(tmp_path, SITE, "--renew") == 0
    assert password(tmp_path, SITE) != before
    assert (tmp_path / "out" / SITE / "board.toml").read_text() == "# finished by hand\n"
    assert (tmp_path / "broker" / "passwords").read_text().count(f"{SITE}:") == 1
    assert (tmp_path / "broker" / "topics").read_text().count(f"user {SITE}\n") == 1


@pytest.mark.parametrize(
    ("given", "text"),
    [
        (["North_Kraal"], "enrol: 'North_Kraal' is no site id"),
        (["a b"], "enrol: 'a b' is no site id"),
        ([], "enrol: give either a SITE_ID or --server"),
        ([SITE, "--server"], "enrol: give either a SITE_ID or --server"),
        ([SITE, "--port", "0"], "enrol: 0 is no port"),
        ([SITE, "--host", 'x"\ny'], "is no host name"),
    ],
)
def test_wrong_questions_are_answered_in_words(tmp_path, capsys, given, text):
    assert enrol(tmp_path, *given) == 2
    told = capsys.readouterr().err
    assert text in told
    assert "fix: " in told
    assert not (tmp_path / "broker").exists()


def test_the_cautions_are_said(tmp_path, capsys):
    enrol(tmp_path, SITE)
    told = capsys.readouterr().out
    for words in (
        "may stand at array voltage",
        "volt-free or isolated contacts",
        "licensed person",
        "cannot stop the pump",
    ):
        assert words in told


def test_other_peoples_lines_stay():
    assert with_user("a:1\nb:2\n", "a:3") == "b:2\na:3\n"
    old = "# ours\ntopic read $SYS/#\n\nuser north-kraal\ntopic write x\n\nuser zed\ntopic read y\n"
    assert with_topics(old, board_topics(SITE)) == (
        "# ours\ntopic read $SYS/#\n\nuser zed\ntopic read y\n\n" + "\n".join(board_topics(SITE)) + "\n"
    )
