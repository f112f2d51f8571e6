"""The tables of BOARD.toml, typed: every key with its unit, range and default.

Flow: settings.py fills and judges them -> HERE -> the parts of the logger.
Never: a file, a judgement.
"""

from dataclasses import dataclass
from typing import Literal

from logger.record.site_facts import PumpKind, fact


@dataclass(frozen=True)
class Board:
    """The board itself. `sync_every_s`: what a power cut can lose at most, 0 = nothing that was read."""

    site: str
    spool: str = "spool"
    limit_mb: float = fact("MB", 0.1, 1e6, default=64.0)
    sync_every_s: float = fact("s", 0, 3600, default=10.0)
    interval_s: float = fact("s", 0, 3600, default=60.0)
    extremes: tuple[str, ...] = ("pv_voltage_v", "motor_current_a")
    health_every_s: float = fact("s", 10, 86400, default=3600.0)


@dataclass(frozen=True)
class ClockSettings:
    """`trust`: whose word makes the wall clock right. The `simulated_` keys and `rate` are for simulated plants only."""

    trust: Literal["kernel", "always"] = "kernel"
    hold_unsure_s: float = fact("s", 0, 86400, default=900.0)
    rate: float = fact("", 0.01, 10000, default=1.0)
    simulated_epoch: str | None = None
    simulated_from: str | None = None


@dataclass(frozen=True)
class Mqtt:
    """The broker. `batch_s`: live rows wait at most so long; `keepalive_s`: a dead link shows after 1.5 times that.

    `link`: what METERED holds are the defaults where data costs money. `at_once_per_day`: so many changes of a state are
    published at once within a day, further ones with the next batch; what is urgent always goes at once. `version`: `auto` = MQTT 5, and 3.1.1 where the broker refuses it.
    """

    host: str
    port: int | None = fact("", 1, 65535, default=None)
    tls: bool = False
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None
    username: str | None = None
    password_file: str | None = None
    allow_plain: bool = False
    client_id: str | None = None
    version: Literal["auto", "5", "3.1.1"] = "auto"
    format: Literal["pack", "senml-json", "senml-cbor"] = "pack"
    link: Literal["free", "metered"] = "free"
    batch_s: float = fact("s", 0, 86400, default=60.0)
    at_once_per_day: int = fact("changes a day", 0, 100_000, default=10_000)
    keepalive_s: int = fact("s", 10, 7200, default=60)
    session_expiry_s: int = fact("s", 0, 604800, default=3600)
    will_delay_s: int = fact("s", 0, 3600, default=30)


METERED: dict[str, dict[str, float]] = {
    "mqtt": {"batch_s": 3600.0, "keepalive_s": 1800, "at_once_per_day": 12},
    "board": {"health_every_s": 21600.0},
}
"""What `link = "metered"` sets where the file does not say otherwise: a month in 1.5 MB (tests/bench/bench_wire.py)."""


@dataclass(frozen=True)
class Expected:
    """What the healthy pump draws and gives at one input power; rows of a small table. Unknown = left out.

    `wellhand enrol --site` makes them from the site file.
    """

    input_power_w: float = fact("W", 1, 1e6)
    flow_m3_h: float = fact("m3/h", 0, 1000)
    motor_current_a: float | None = fact("A", 0, 500, default=None)
    discharge_pressure_bar: float | None = fact("bar", -1, 250, default=None)
    motor_speed_rpm: float | None = fact("1/min", 1, 10000, default=None)


@dataclass(frozen=True)
class PumpFacts:
    """What the board judges by (urgent.py). `start_delay_s`: from motor running to water moving, when healthy.

    `kind`: tells what a light load means. `running_`: above these the motor is driven, where no state says so. Place: for the sun, which wakes a controller.
    """

    kind: PumpKind | None = None
    start_delay_s: float = fact("s", 0, 3600, default=30.0)
    meter_step_m3: float | None = fact("m3", 0.0001, 100, default=None)
    running_power_w: float = fact("W", 1, 1e6, default=100.0)
    running_current_a: float = fact("A", 0.05, 500, default=0.5)
    pressure_max_bar: float | None = fact("bar", 0, 250, default=None)
    voltage_max_v: float | None = fact("V", 10, 2000, default=None)
    latitude_deg: float | None = fact("deg", -90, 90, default=None)
    longitude_deg: float | None = fact("deg", -180, 180, default=None)
    fault_codes_ignored: tuple[int, ...] = ()
    expected: tuple[Expected, ...] = ()


@dataclass(frozen=True)
class Phone:
    """Somebody who may be told and may ask."""

    name: str
    number: str


@dataclass(frozen=True)
class Sms:
    """A GSM modem on a serial port."""

    port: str
    baud: int = fact("baud", 300, 921600, default=115200)
    phone: tuple[Phone, ...] = ()
    per_day_max: int = fact("messages a day to each number", 1, 100, default=10)
    remind_after_h: float = fact("h", 0.1, 168, default=4.0)


@dataclass(frozen=True)
class BoardTables:
    """The file's tables, `[[source]]` apart."""

    board: Board
    mqtt: Mqtt
    clock: ClockSettings = ClockSettings()
    pump: PumpFacts | None = None
    sms: Sms | None = None
