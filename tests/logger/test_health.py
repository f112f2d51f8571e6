"""What the board says of itself, to the server and to systemd."""

import configparser
import json
import socket
from importlib.resources import files
from pathlib import Path

import pytest

from logger.cli import main
from logger.health import machine
from logger.sd_notify import Notifier
from logger.settings_tables import Board
from logger.spool import Spool
from tests.faults import FaultyDisk
from tests.logger.test_agent import SITE, Drive, Site


def machine_files(root: Path, **content: str) -> Path:
    places = {
        "temperature": "sys/class/thermal/thermal_zone0/temp",
        "throttled": "sys/devices/platform/soc/soc:firmware/get_throttled",
        "alarm": "sys/class/hwmon/hwmon0/in0_lcrit_alarm",
    }
    for name, text in content.items():
        (root / places[name]).parent.mkdir(parents=True, exist_ok=True)
        (root / places[name]).write_text(text)
    return root


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ({}, {}),
        ({"temperature": "71234\n"}, {"temperature_c": 71.2}),
        ({"throttled": "50005\n"}, {"under_voltage_now": True, "under_voltage_since_start": True}),
        ({"throttled": "50000\n"}, {"under_voltage_now": False, "under_voltage_since_start": True}),
        ({"throttled": "0\n"}, {"under_voltage_now": False, "under_voltage_since_start": False}),
        ({"alarm": "1\n"}, {"under_voltage_now": True}),
        ({"temperature": "broken", "throttled": ""}, {}),
    ],
)
def test_the_machine_tells_what_it_can_and_the_rest_is_left_out(tmp_path, content, expected):
    """Bits of `get_throttled` as the board's maker documents them: 0 under-voltage now, 16 since the start."""
    told = machine(machine_files(tmp_path, **content))
    assert told.pop("memory_peak_kb") > 0
    assert told == expected


def test_health_says_what_waits_and_since_when():
    site = Site()
    agent = site.start()
    site.run(agent, 3 * 3600)
    told = json.loads(site.health.as_json(site.time.wall_ms(), 0, site.sources))
    assert told["spool"]["not_stored"] == site.spool.accepted_seq
    assert 10_700 <= told["spool"]["oldest_s"] <= 10_900
    assert told["spool"]["disk_free_bytes"] == 1_000_000_000
    assert told["clock"] == {"quality": "good", "steps": 0, "simulated": False}
    site.link.up()
    site.run(agent, 300)
    told = json.loads(site.health.as_json(site.time.wall_ms(), 0, site.sources))
    assert told["spool"]["not_stored"] <= 2
    assert told["link"]["rows"] >= 180
    assert told["link"]["mqtt"] == "5"
    assert told["starts"] == 1
    assert len(site.health.as_json(0, 0, site.sources)) < 1600, "it crosses a paid link"


def test_systemd_hears_ready_alive_and_stopping(tmp_path):
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listener.bind(str(tmp_path / "notify"))
    listener.settimeout(5)
    notifier = Notifier(str(tmp_path / "notify"))
    notifier.ready("site north-kraal")
    notifier.alive()
    notifier.stopping()
    heard = [listener.recv(200) for _ in range(3)]
    assert heard == [b"READY=1\nSTATUS=site north-kraal", b"WATCHDOG=1", b"STOPPING=1"]
    listener.close()
    (tmp_path / "notify").unlink()
    notifier.alive()
    assert notifier.failed == 1, "a listener that went away ends nothing"


def test_without_systemd_nothing_is_said(monkeypatch):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    notifier = Notifier()
    notifier.alive()
    assert notifier.failed == 0


def test_the_unit_runs_unprivileged_under_a_watchdog_that_outlasts_two_syncs():
    unit = configparser.ConfigParser(strict=False)
    unit.optionxform = str  # type: ignore[assignment]
    unit.read_string(files("logger").joinpath("wellhand-log.service").read_text())
    service = unit["Service"]
    assert service["Type"] == "notify"
    assert service["User"] == "wellhand"
    assert service["Restart"] == "always"
    assert service["NoNewPrivileges"] == "true"
    assert service["ProtectSystem"] == "strict"
    assert float(service["WatchdogSec"]) > 2 * Board("x").sync_every_s
    assert service["RestartPreventExitStatus"] == "2", "wrong settings do not mend themselves"
    assert service["ExecStart"].split()[1] == "log"


def test_a_spool_that_cannot_be_had_ends_with_1_and_words(tmp_path, capsys):
    (tmp_path / "readings.csv").write_text("time,pv_voltage_v\n2026-01-01T00:00:00Z,200.0\n")
    (tmp_path / "board.toml").write_text(
        f'[board]\nsite = "{SITE}"\nspool = "readings.csv"\n[mqtt]\nhost = "localhost"\n'
        '[[source]]\nkind = "replay"\nname = "r"\nfile = "readings.csv"\n'
    )
    assert main(["log", str(tmp_path / "board.toml")]) == 1
    told = capsys.readouterr().err
    assert "readings.csv: the spool cannot be used: " in told
    assert "    fix: check that the folder can be written and that no other logger runs on it" in told


class Pulses(Drive):
    """Counts in a memory that the spool keeps."""

    def __init__(self, memory: dict):
        super().__init__(1.0, "pulses", ("volume_m3",))
        self.memory = memory

    def read(self, _turn):
        self.memory["count"] = self.memory.get("count", 0) + 1
        return {"volume_m3": self.memory["count"] / 100}


@pytest.mark.parametrize("fail_at", range(12, 160, 4))
def test_a_register_that_was_accepted_never_falls_back_after_a_power_cut(fail_at):
    from tests.faults import PowerCut  # noqa: PLC0415

    disk, state = FaultyDisk(5, "power cut", fail_at), {"pulses": {}}
    accepted = 0.0
    try:
        spool = Spool(Path("/s"), "k", "0000abcd", disk=disk)
        spool.recall_into(state)
        source = Pulses(state["pulses"])
        for turn in range(30):
            values = source.read(None)
            spool.append(turn, turn, "good", values)
            if turn % 3 == 2:
                spool.keep(state)
                spool.sync()
                accepted = values["volume_m3"]
    except PowerCut:
        pass
    state = {"pulses": {}}
    after = Spool(Path("/s"), "k", "1111abcd", disk=disk.after_power_cut())
    after.recall_into(state)
    assert Pulses(state["pulses"]).read(None)["volume_m3"] >= accepted
