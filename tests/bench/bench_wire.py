"""A month of one-minute readings on the wire, in bytes of IP with TCP, TLS and MQTT, from a packet capture.

    python -m tests.bench.bench_wire [--seed N]

The real sender and link publish one simulated day (ten channels with noise; the metered board also sends changes of its states at once, as
often as the day allows) to a real Mosquitto with TLS and client
certificate (the day's weather is drawn from a seed, fresh where none is given, and printed); a server answers `stored`; presence once and health four times a day go along; tshark counts every packet both ways by its IP length. The month is thirty such
days, one new connection a day, and the pings that an idle link needs (a ping's bytes are captured too). What keeps the size
of packets below a mobile link's limit does not matter here: batches are smaller than one packet, except JSON's.
"""

import argparse
import contextlib
import json
import math
import random
import secrets
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as paho

from logger.agent import presence
from logger.clock import BoardClock
from logger.health import Health
from logger.link import Link, Stored, Up
from logger.sender import Sender
from logger.settings_tables import METERED, Mqtt
from logger.sources.base import Paced
from logger.spool import Spool
from logger.spool.row import on_step
from tests.conftest import found
from tests.faults import FakeTime
from tests.logger.broker import Broker, make_certificates
from tests.logger.other_end import Receiver

SITE = "north-kraal"
DAY_MINUTES, MONTH_DAYS = 1440, 30
HEALTH_EACH_MIN = 360
EPOCH_MS = 1_772_323_200_000
STATES = ("low_level_probe_wet", "tank_float_up", "motor_running")
PLAIN_JSON = "plain JSON, one message a minute"


def day(seed: int, gusts: float = 0.1) -> list[dict[str, float | None]]:
    """One clear day with passing clouds: what a controller with flow meter, probe, float, cell and two temperatures says."""
    rng, volume_m3, made = random.Random(seed), 4000.0, []
    cloud = 1.0
    for minute in range(DAY_MINUTES):
        cloud = min(1.0, max(0.2, cloud + rng.gauss(0.02, gusts)))
        sun = max(0.0, math.sin((minute - 360) / 720 * math.pi)) * cloud
        runs = sun > 0.15
        volume_m3 += 4.5 / 60 * sun if runs else 0.0
        values = {
            "pv_voltage_v": (205 + rng.gauss(0, 2)) if sun > 0.02 else 0.0,
            "pv_current_a": 8.5 * sun * (1 + rng.gauss(0, 0.01)) if runs else 0.0,
            "motor_current_a": (1.5 + 5.5 * sun) * (1 + rng.gauss(0, 0.01)) if runs else 0.0,
            "motor_speed_rpm": 600 + 2300 * sun + rng.gauss(0, 8) if runs else 0.0,
            "volume_m3": volume_m3 // 0.01 * 0.01,
            "irradiance_w_m2": 1000 * sun + rng.gauss(0, 2),
            "module_temp_c": 16 + 30 * sun + rng.gauss(0, 0.2),
            "low_level_probe_wet": 1.0,
            "tank_float_up": 1.0 if minute > 900 else 0.0,
            "motor_running": float(runs),
        }
        made.append({name: on_step(name, value) for name, value in values.items()})
    return made


def busy_day(seed: int, most: int) -> list[dict[str, float | None]]:
    """The day with clouds broken enough that its states change more often than `most` times: what goes at once on the worst of days."""
    gusts = 0.1
    values = day(seed, gusts)
    while sum(changes(values, minute) for minute in range(DAY_MINUTES)) <= most:
        gusts += 0.02
        assert gusts < 3.0, "no cloud breaks so often"
        values = day(seed, gusts)
    return values


class Answers:
    """The server's side: takes a batch, says `stored`."""

    def __init__(self, link: dict):
        self.receiver = Receiver()
        self.client = connect(link, "server")
        self.client.on_message = self._take
        self.client.subscribe(f"wellhand/v1/{SITE}/readings", 1)

    def _take(self, client, _data, message) -> None:
        self.receiver.take(message.payload)
        client.publish(f"wellhand/v1/{SITE}/stored", self.receiver.statement(EPOCH_MS), 1, retain=True)


def connect(link: dict, name: str) -> paho.Client:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, name, protocol=paho.MQTTv5)
    client.tls_set(link["ca"], link["cert"], link["key"])
    client.connect("localhost", link["port"], keepalive=3600)
    client.loop_start()
    while not client.is_connected():
        time.sleep(0.02)
    return client


@contextlib.contextmanager
def captured(port: int, into: dict[str, float]):
    """Counts the IP bytes of all TCP connections but the server's own (its port is told apart by its long life)."""
    command = ["tshark", "-q", "-l", "-i", "lo", "-f", f"tcp port {port}", "-T", "fields"]
    command += ["-e", "tcp.srcport", "-e", "tcp.dstport", "-e", "ip.len"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    for line in process.stderr:
        if "Capture" in line or "Capturing" in line:
            break
    time.sleep(1.0)
    yield
    time.sleep(1.5)
    process.terminate()
    out, _ = process.communicate()
    by_port: dict[str, int] = {}
    for line in out.splitlines():
        source, target, length = line.split("\t")
        other = target if source == str(port) else source
        by_port[other] = by_port.get(other, 0) + int(length)
    into.update({key: float(value) for key, value in by_port.items()})


@dataclass
class Way:
    """One way to publish a day. `batch`: minutes in a message; `at_once`: so many changes of states go at once."""

    name: str
    form: str
    batch: int
    at_once: int = 0


def board_day(way: Way, link: dict, folder: Path, values: list[dict[str, float | None]]) -> int:
    """Publish the day as the board does; the local TCP port it used."""
    mqtt = Mqtt(
        "localhost", link["port"], True, link["ca"], link["cert"], link["key"], format=way.form, keepalive_s=3600
    )  # type: ignore[arg-type]
    spool = Spool(folder / way.name.replace(" ", "-"), "k", "0000abcd")
    clock = BoardClock(FakeTime(EPOCH_MS, 0, True))
    made = Link(mqtt, SITE, Path("/"), presence(False, None, spool.boot.name))
    sender = Sender(SITE, spool, made, clock, way.form, 0.0)
    made.start()
    wait(made, sender, Up)
    assert made._client is not None
    port = made._client.socket().getsockname()[1]
    made.publish("presence", presence(True, EPOCH_MS, spool.boot.name))
    health = Health("0.1.0", "0123456789abcdef", spool, made, sender, clock)
    drive = Paced("drive", ("pv_voltage_v",), 5.0)
    step = 1 if way.at_once else way.batch
    if way.at_once:
        sender.batch_s, sender.at_once_per_day = way.batch * 60.0, way.at_once
        sender.__post_init__()
    for start in range(0, DAY_MINUTES, step):
        for minute in range(start, start + step):
            if way.at_once and changes(values, minute):
                spool.append(EPOCH_MS + minute * 60_000 - 20_000, minute * 60_000 - 20_000, "good", values[minute])
                sender.hurry = True
            spool.append(EPOCH_MS + minute * 60_000, minute * 60_000, "good", values[minute])
        spool.sync()
        if start % HEALTH_EACH_MIN < step:
            made.publish("health", health.as_json(EPOCH_MS, EPOCH_MS, [drive]))  # type: ignore[list-item]
        before = sender.counts["batches"]
        sender.send(2e9 + start * 60.0)
        if sender.counts["batches"] > before:
            wait(made, sender, Stored)
    if way.at_once:
        print(f"    {sender.counts['batches']} batches, {sender.counts['changes_waited']} changes waited for theirs")
    made.close(None)
    return port


def changes(values: list[dict[str, float | None]], minute: int) -> bool:
    """Did a state change since the minute before? In the worst day more often than goes out at once."""
    return minute > 0 and any(values[minute][name] != values[minute - 1][name] for name in STATES)


def wait(link: Link, sender: Sender, kind: type) -> None:
    ends = time.monotonic() + 20
    while time.monotonic() < ends:
        for event in link.events(0.05):
            sender.take(event, 1e9)
            if isinstance(event, kind):
                return
    raise AssertionError(f"no {kind.__name__}")


def plain_day(link: dict, values: list[dict[str, float | None]]) -> int:
    """A JSON object a minute, QoS 1, nobody answers."""
    client = connect(link, "plain")
    port = client.socket().getsockname()[1]
    for minute, row in enumerate(values):
        told = client.publish("plain/north-kraal", json.dumps({"time": EPOCH_MS + minute * 60_000, **row}), 1)
        told.wait_for_publish(10)
    client.disconnect()
    client.loop_stop()
    return port


def ping_bytes(link: dict) -> float:
    """IP bytes of one MQTT ping and its answer."""
    counted: dict[str, float] = {}
    with captured(link["port"], counted):
        client = connect(link, "pings")
        port = client.socket().getsockname()[1]
        client.disconnect()
        client.loop_stop()
    idle = counted[str(port)]
    counted.clear()
    with captured(link["port"], counted):
        client = connect(link, "pings")
        port = client.socket().getsockname()[1]
        for _ in range(5):
            client._send_pingreq()
            time.sleep(0.2)
        client.disconnect()
        client.loop_stop()
    return (counted[str(port)] - idle) / 5


def month_mb(day_bytes: float, batch: int, keepalive_s: int, ping: float) -> float:
    """Thirty days, with the pings between batches."""
    pings_a_day = DAY_MINUTES / batch * max(0, math.ceil(batch * 60 / keepalive_s) - 1)
    return MONTH_DAYS * (day_bytes + pings_a_day * ping) / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", help="of the ways to publish, those whose name contains this")
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**6), help="of the day; drawn where not given")
    args = parser.parse_args()
    only = args.only or ""
    print(f"seed {args.seed}")
    program = found("mosquitto")
    assert program, "mosquitto is not installed"
    assert (METERED["mqtt"]["batch_s"], METERED["mqtt"]["keepalive_s"]) == (3600, 1800)
    most = int(METERED["mqtt"]["at_once_per_day"])
    ways = [
        Way('link = "metered", busy day', "pack", 60, most),
        Way("pack hourly", "pack", 60),
        Way("pack every 10 min", "pack", 10),
        Way("pack every minute", "pack", 1),
    ]
    ways += [Way("SenML CBOR every 40 min", "senml-cbor", 40), Way("SenML JSON every 40 min", "senml-json", 40)]
    values, busy = day(args.seed), busy_day(args.seed, most)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_certificates(folder, "localhost", (SITE,))
        with Broker(program, folder, "", tls=True) as broker:
            link = {
                "port": broker.port,
                "ca": f"{folder}/ca.pem",
                "cert": f"{folder}/{SITE}.pem",
                "key": f"{folder}/{SITE}.key",
            }
            ping = ping_bytes(link)
            print(f"a ping and its answer: {ping:.0f} bytes")
            print(f"{'':34}{'bytes a reading':>16}{'MB a month':>12}   (keep-alive 1800 s; pings in it)")
            answers = Answers(link)
            for way in (way for way in ways if only in way.name):
                answers.receiver = Receiver()
                counted: dict[str, float] = {}
                with captured(broker.port, counted):
                    port = board_day(way, link, folder, busy if way.at_once else values)
                show(way.name, counted[str(port)], way.batch, ping)
            if only in PLAIN_JSON:
                counted = {}
                with captured(broker.port, counted):
                    port = plain_day(link, values)
                show(PLAIN_JSON, counted[str(port)], 1, ping)
            answers.client.disconnect()
            answers.client.loop_stop()


def show(name: str, day_bytes: float, batch: int, ping: float) -> None:
    month = month_mb(day_bytes, batch, 1800, ping)
    print(f"{name:34}{month * 1e6 / MONTH_DAYS / DAY_MINUTES:16.1f}{month:12.2f}")


if __name__ == "__main__":
    main()
