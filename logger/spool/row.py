"""One reading as the spool keeps it <-> a small record that stands for itself: no record is needed to read another.

    record = version (1), seq, time_ms, mono_ms, clock (varints), then for each channel its code (1 byte) and its value:
             0 = null, else 1 + zigzag of round(value / step)
    code = place in CODED (1, 2 ...) * 4 + 0 plain, 1 `_min`, 2 `_max`

A value is kept at its channel's `step`, the resolution of the wire, so that what was accepted is what is sent.
Flow: agent -> HERE -> frames.py. Never: a file, a clock.
"""

from dataclasses import dataclass, field

from logger.record.channels import CHANNELS, channel_of
from logger.record.reading import CLOCKS, Clock

VERSION = 1
VARINT_BYTES_MAX = 10
SUFFIXES = ("", "_min", "_max")
CODED = (
    "pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "flow_m3_h", "volume_m3",
    "discharge_pressure_bar", "water_level_m", "irradiance_w_m2", "module_temp_c", "ambient_temp_c",
    "controller_temp_c", "low_level_probe_wet", "tank_float_up", "motor_running", "fault_code", "input_power_w",
    "motor_voltage_v", "drive_frequency_hz", "speed_setting_pct", "switched_on", "tank_level_m",
)  # fmt: skip
"""Places are for ever: a new channel goes to the end, none is moved or taken out."""

_CODE = {name + suffix: 4 * place + last for place, name in enumerate(CODED, 1) for last, suffix in enumerate(SUFFIXES)}
_NAME = {code: name for name, code in _CODE.items()}
_STEPS = {name: CHANNELS[name.removesuffix("_min").removesuffix("_max")].step for name in _CODE}


class RowError(ValueError):
    """A record that is no row of this version."""


@dataclass(frozen=True)
class Row:
    """A reading before its boot and site are added.

    `time_ms` is the board's best guess when it was read, `mono_ms` the machine's clock that never jumps
    (since the kernel started); `clock` says what the guess was worth then.
    """

    seq: int
    time_ms: int
    mono_ms: int
    clock: Clock = "good"
    values: dict[str, float | None] = field(default_factory=dict)


def on_step(name: str, value: float | None) -> float | None:
    """`value` at the resolution that spool and wire keep. KeyError: no such channel."""
    return None if value is None else _value(_ticks(value, channel_of(name).step), channel_of(name).step)


def to_record(row: Row) -> bytes:
    """KeyError: a channel without a code."""
    out = bytearray([VERSION])
    for number in (row.seq, _zigzag(row.time_ms), _zigzag(row.mono_ms), CLOCKS.index(row.clock)):
        _put(out, number)
    for name, value in row.values.items():
        out.append(_CODE[name])
        _put(out, 0 if value is None else 1 + _zigzag(_ticks(value, _STEPS[name])))
    return bytes(out)


def from_record(record: bytes) -> Row:
    """RowError: cut short, another version, an unknown channel."""
    if record[0] != VERSION:
        raise RowError(f"version {record[0]}, this program reads {VERSION}")
    seq, at = _get(record, 1)
    time_ms, at = _get(record, at)
    mono_ms, at = _get(record, at)
    clock, at = _get(record, at)
    values: dict[str, float | None] = {}
    while at < len(record):
        name = _NAME.get(record[at])
        if name is None:
            raise RowError(f"no channel has the code {record[at]}")
        number, at = _get(record, at + 1)
        values[name] = None if number == 0 else _value(_unzigzag(number - 1), _STEPS[name])
    if clock >= len(CLOCKS):
        raise RowError(f"no clock quality has the number {clock}")
    return Row(seq, _unzigzag(time_ms), _unzigzag(mono_ms), CLOCKS[clock], values)


def _ticks(value: float, step: float) -> int:
    return round(value * round(1 / step)) if step < 1 else round(value / step)


def _value(ticks: int, step: float) -> float:
    # Dividing by the whole number 1/step gives the float nearest to the decimal; multiplying by step would not.
    return ticks / round(1 / step) if step < 1 else float(ticks * step)


def _zigzag(number: int) -> int:
    return 2 * number if number >= 0 else -2 * number - 1


def _unzigzag(number: int) -> int:
    return -(number + 1) // 2 if number & 1 else number // 2


def _put(out: bytearray, number: int) -> None:
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    out.append(number)


def _get(record: bytes, at: int) -> tuple[int, int]:
    number = shift = 0
    for place in range(at, min(at + VARINT_BYTES_MAX, len(record))):
        number |= (record[place] & 127) << shift
        if record[place] < 128:
            return number, place + 1
        shift += 7
    raise RowError("cut short within a number")
