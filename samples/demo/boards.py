"""A board file for each live site: its controller's line, the broker, the invented clock.

Flow: scenario -> HERE -> `wellhand log`.
"""

from datetime import datetime
from pathlib import Path

from logger.record.channels import CHANNELS
from samples.demo.stage import Stage
from samples.scenario import SampleSite
from samples.text_printer import KEYS, STATES

READ_EVERY_S = 20.0
"""Of the plants' time: at 60 times the clock three reads a second."""


def board_file(site: SampleSite, stage: Stage, real_start: datetime) -> str:
    """The text of BOARD.toml."""
    return f"""\
[board]
site = "{site.id}"
spool = "spool"
interval_s = 60
sync_every_s = 2
health_every_s = 30

[mqtt]
host = "127.0.0.1"
port = {stage.broker_port}
batch_s = 1

[clock]
simulated_epoch = "{stage.live_start.isoformat()}"
simulated_from = "{real_start.isoformat()}"
rate = {stage.speed}

{_source(site, stage.plants / f"{site.id}.port")}"""


def _source(site: SampleSite, device: Path) -> str:
    """The line that its controller speaks on."""
    fitted = site.facts.sensors.channels
    if site.speaks == "modbus":
        channels = ", ".join(f'"{name}"' for name in fitted)
        return f"""\
[[source]]
kind = "modbus"
name = "drive"
map = "example-drive"
device = "{device}"
period_s = {READ_EVERY_S}
timeout_s = 1.0
channels = [{channels}]
"""
    head = f"""\
[[source]]
kind = "text_line"
name = "printer"
device = "{device}"
form = "pairs"
separator = ";"
checksum = "xor"
period_s = {READ_EVERY_S}
"""
    return head + "".join(_value(channel) for channel in fitted)


def _value(channel: str) -> str:
    if channel in STATES:
        key, on, off = STATES[channel]
        told = f'state = [{{ text = "{on}", value = 1 }}, {{ text = "{off}", value = 0 }}]'
    else:
        key, told = KEYS[channel][0], _unit(channel)
    return f'\n[[source.value]]\nkey = "{key}"\nchannel = "{channel}"\n{told}\n'


def _unit(channel: str) -> str:
    fact = CHANNELS[channel]
    return f'unit = "{fact.unit}"' if fact.kind in ("measure", "counter") else ""
