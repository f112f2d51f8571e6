"""BOARD.toml: every problem at once, in words, before anything opens."""

import dataclasses
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from logger.cli import main
from logger.settings import BoardFileError, instant_ms, load_settings
from logger.settings_tables import METERED, Board, ClockSettings, Expected, Mqtt, Phone, PumpFacts, Sms

GOOD = """
[board]
site = "north-kraal"
[mqtt]
host = "broker.example.org"
[[source]]
kind = "replay"
name = "recorded"
file = "readings.csv"
"""


def written(tmp_path: Path, text: str) -> Path:
    (tmp_path / "readings.csv").write_text("time,pv_voltage_v\n2026-01-01T00:00:00Z,200.0\n")
    (tmp_path / "board.toml").write_text(text)
    return tmp_path / "board.toml"


def problems(tmp_path: Path, text: str) -> str:
    with pytest.raises(BoardFileError) as caught:
        load_settings(written(tmp_path, text))
    return str(caught.value)


def test_the_shortest_file_is_enough_and_the_rest_has_defaults(tmp_path):
    settings = load_settings(written(tmp_path, GOOD))
    assert settings.board == Board("north-kraal")
    assert settings.mqtt == Mqtt("broker.example.org")
    assert (settings.pump, settings.sms) == (None, None)
    assert [source.name for source in settings.sources] == ["recorded"]
    assert settings.path("spool") == tmp_path / "spool"
    assert not (tmp_path / "spool").exists(), "nothing was opened"


def test_a_metered_link_spares_data_and_what_the_file_says_stands(tmp_path):
    text = GOOD.replace("[mqtt]", '[mqtt]\nlink = "metered"\nkeepalive_s = 600')
    settings = load_settings(written(tmp_path, text))
    assert (settings.mqtt.batch_s, settings.mqtt.keepalive_s, settings.mqtt.at_once_per_day) == (3600, 600, 12)
    assert settings.board.health_every_s == 21600
    for table, made in (("mqtt", Mqtt), ("board", Board)):
        assert set(METERED[table]) <= {one.name for one in dataclasses.fields(made)}
    assert "mqtt.link" in problems(tmp_path, GOOD.replace("[mqtt]", '[mqtt]\nlink = "cheap"'))


def test_the_digest_names_the_content(tmp_path):
    first = load_settings(written(tmp_path, GOOD)).digest
    assert first == load_settings(written(tmp_path, GOOD)).digest
    assert first != load_settings(written(tmp_path, GOOD + "# more\n")).digest


def test_all_problems_at_once_with_file_key_and_fix(tmp_path):
    text = GOOD.replace('site = "north-kraal"', 'site = "North Kraal"\nspol = "x"\nsync_every_s = "10 s"')
    text = text.replace('kind = "replay"', 'kind = "replai"')
    assert problems(tmp_path, text) == (
        "board.toml: board.spol: no such key\n"
        "    fix: did you mean board.spool?\n"
        "board.toml: board.sync_every_s: expected a number of s, got '10 s'\n"
        "    fix: write sync_every_s = 10\n"
        "board.toml: source[1].kind: no such kind of source: 'replai'\n"
        '    fix: did you mean kind = "replay"?\n'
        "Nothing was started. 3 problems in 1 file."
    )


WRONG = [
    ('site = "north-kraal"', 'site = "North Kraal"', "board.site: 'North Kraal' is no site id"),
    (
        'site = "north-kraal"',
        'site = "x"\nextremes = ["motor_running"]',
        "board.extremes: 'motor_running' is no measured channel",
    ),
    ("[mqtt]", "[clock]\nrate = 60\n[mqtt]", "clock: simulated time needs both its instants"),
    ("[mqtt]", '[clock]\nsimulated_epoch = "2026-03-01"\n[mqtt]', "clock.simulated_epoch: '2026-03-01' is no instant"),
    ('host = "broker.example.org"', 'host = ""', "mqtt.host: empty"),
    ("[mqtt]", '[mqtt]\ncert_file = "a"', "mqtt.cert_file: a certificate and its key belong together"),
    ("[mqtt]", '[mqtt]\nca_file = "a"', "mqtt.tls: certificates are given, but TLS is off"),
    ("[mqtt]", '[mqtt]\npassword_file = "readings.csv"', "mqtt.username: missing"),
    (
        "[mqtt]",
        '[mqtt]\nusername = "u"\npassword_file = "readings.csv"',
        "mqtt.tls: the password would cross the network",
    ),
    ("[mqtt]", '[mqtt]\ntls = true\nusername = "u"\npassword_file = "nowhere"', "nowhere cannot be read"),
    ("[[source]]", "[sourc]", "source: no source"),
    (
        "[[source]]",
        '[sms]\nport = "/dev/x"\n[[sms.phone]]\nname = "a"\nnumber = "call me"\n[[source]]',
        "'call me' is no telephone number",
    ),
]


@pytest.mark.parametrize(("there", "instead", "text"), WRONG)
def test_what_is_wrong_is_said_with_a_fix(tmp_path, there, instead, text):
    said = problems(tmp_path, GOOD.replace(there, instead))
    assert text in said
    assert "    fix: " in said


def test_a_password_that_others_can_read_is_refused_and_never_shown(tmp_path):
    (tmp_path / "password").write_text("very-secret\n")
    (tmp_path / "password").chmod(0o644)
    text = GOOD.replace("[mqtt]", '[mqtt]\ntls = true\nusername = "u"\npassword_file = "password"')
    said = problems(tmp_path, text)
    assert f"mqtt.password_file: {tmp_path}/password can be read by others (mode 0644)\n    fix: chmod 600" in said
    assert "very-secret" not in said
    (tmp_path / "password").chmod(0o600)
    assert load_settings(written(tmp_path, text)).mqtt.username == "u"


def test_two_sources_of_one_channel_are_refused(tmp_path):
    again = GOOD + '[[source]]\nkind = "replay"\nname = "recorded"\nfile = "readings.csv"\n'
    said = problems(tmp_path, again)
    assert "source[2]: pv_voltage_v also comes from source[1]" in said
    assert "source[2].name: two sources are called 'recorded'" in said


def test_the_sample_names_every_key():
    """A person reads the sample to learn what there is."""
    text = files("logger").joinpath("board_sample.toml").read_text()
    tomllib.loads(text)
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    for table in (Board, Mqtt, ClockSettings, PumpFacts, Expected, Sms, Phone):
        for item in dataclasses.fields(table):
            told = f"{item.name} = " in text or f"[[sms.{item.name}]]" in text or f"`{item.name}`" in readme
            assert told, f"{table.__name__}.{item.name} is neither in the sample nor in README"


def test_dry_run_opens_nothing_and_answers(tmp_path, capsys):
    path = written(tmp_path, GOOD)
    assert main(["log", str(path), "--dry-run"]) == 0
    assert capsys.readouterr().out == f"{path}: no problems. Site north-kraal, 1 source(s). Nothing opened.\n"
    assert main(["log", str(tmp_path / "nowhere.toml"), "--dry-run"]) == 2
    assert "cannot be read: No such file or directory" in capsys.readouterr().err


def test_once_reads_prints_and_keeps_nothing(tmp_path, capsys):
    path = written(tmp_path, GOOD)
    assert main(["log", str(path), "--once"]) == 0
    assert capsys.readouterr().out == "recorded: pv_voltage_v = 200.0\n"
    assert not (tmp_path / "spool").exists()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-03-01T06:00:00Z", 1_772_344_800_000),
        ("2026-03-01T08:00:00+02:00", 1_772_344_800_000),
        ("2026-03-01T06:00:00", None),
        ("x", None),
    ],
)
def test_instants_need_their_offset(text, expected):
    assert instant_ms(text) == expected
