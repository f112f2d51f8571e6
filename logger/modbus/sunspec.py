"""SunSpec: a device that describes its own registers -> a register map. Reads only.

The open SunSpec information models (github.com/sunspec/models): the marker `SunS`, then models one after the other, each with
its number and length, until number 0xFFFF. Used here: 1 (who it is), 101 to 103 and 111 to 113 (inverter: array side,
motor side, state), 160 (array inputs), 302 (irradiance), 307 (air temperature).
Flow: sources/sunspec.py, `wellhand registers` -> HERE -> register_map.py.
Never: a value; a write.
"""

from collections.abc import Callable
from dataclasses import dataclass

from logger.modbus.decode import number_of
from logger.modbus.register_map import MapFacts, Meaning, Register, RegisterMap, Type

MARKER = [0x5375, 0x6E53]
BASES = (40000, 50000, 0)
END = 0xFFFF
MODELS_MAX = 64
READ_MAX = 60
SCALES = range(-10, 11)
NOT_IMPLEMENTED = {"u16": 0xFFFF, "i16": -0x8000, "u32": 0xFFFFFFFF}

ReadHolding = Callable[[int, int], list[int] | None]
"""(address, count) -> holding registers, None where the device refuses or stays silent."""


class SunspecError(Exception):
    """The device does not describe itself so that it can be read. The text says where it went wrong."""


@dataclass(frozen=True)
class Model:
    """One model: its number, the address of its number, and its registers, number and length included."""

    number: int
    address: int
    words: tuple[int, ...]


@dataclass(frozen=True)
class Point:
    """A point of a model: registers from the model's start, type, and the offset of its scale factor."""

    channel: str
    offset: int
    type: Type
    unit: str | None
    scale_at: int | None = None


_INTEGER_INVERTER = (
    Point("motor_current_a", 3, "u16", "A", 6),
    Point("motor_voltage_v", 7, "u16", "V", 13),
    Point("drive_frequency_hz", 16, "u16", "Hz", 17),
    Point("pv_current_a", 27, "u16", "A", 28),
    Point("pv_voltage_v", 29, "u16", "V", 30),
    Point("input_power_w", 31, "i16", "W", 32),
    Point("controller_temp_c", 33, "i16", "deg C", 37),
    Point("motor_running", 38, "u16", None),
    Point("fault_code", 40, "u32", None),
)
_FLOAT_INVERTER = (
    Point("motor_current_a", 4, "f32", "A"),
    Point("motor_voltage_v", 10, "f32", "V"),
    Point("drive_frequency_hz", 24, "f32", "Hz"),
    Point("pv_current_a", 34, "f32", "A"),
    Point("pv_voltage_v", 36, "f32", "V"),
    Point("input_power_w", 38, "f32", "W"),
    Point("controller_temp_c", 40, "f32", "deg C"),
    Point("motor_running", 48, "u16", None),
    Point("fault_code", 50, "u32", None),
)
_ARRAY_INPUT = (  # the first input of model 160; it stands for the array only where it is the only one
    Point("pv_current_a", 19, "u16", "A", 2),
    Point("pv_voltage_v", 20, "u16", "V", 3),
    Point("input_power_w", 21, "u16", "W", 4),
)
_POINTS = {
    **dict.fromkeys((101, 102, 103), _INTEGER_INVERTER),
    **dict.fromkeys((111, 112, 113), _FLOAT_INVERTER),
    160: _ARRAY_INPUT,
    302: (Point("irradiance_w_m2", 3, "u16", "W/m2"),),
    307: (Point("ambient_temp_c", 2, "i16", "deg C"),),
}
_ARRAY_INPUTS_AT = 8
_STATES = tuple(Meaning(raw, float(raw in (4, 5))) for raw in range(1, 9))
"""Operating state: 4 at maximum power and 5 throttled drive the motor; off, sleeping, starting ... do not."""


def discover(read: ReadHolding) -> list[Model]:
    """Every model that the device lists. SunspecError: no marker, or the list breaks off."""
    for base in BASES:
        if read(base, 2) == MARKER:
            return _walk(read, base + 2)
    raise SunspecError(f"no SunSpec marker at {', '.join(map(str, BASES))}: this device does not describe itself")


def _walk(read: ReadHolding, address: int) -> list[Model]:
    models: list[Model] = []
    for _ in range(MODELS_MAX):
        head = read(address, 2) or read(address, 1)
        if head is None:
            raise SunspecError(f"the list of models breaks off at address {address}")
        if head[0] == END:
            return models
        if len(head) < 2 or address + 2 + head[1] > 0xFFFF:
            raise SunspecError(f"model {head[0]} at address {address} has no end")
        models.append(Model(head[0], address, tuple(_words(read, address, 2 + head[1]))))
        address += 2 + head[1]
    raise SunspecError(f"more than {MODELS_MAX} models")


def _words(read: ReadHolding, address: int, count: int) -> list[int]:
    words: list[int] = []
    while len(words) < count:
        part = read(address + len(words), min(READ_MAX, count - len(words)))
        if part is None:
            raise SunspecError(f"registers from {address + len(words)} cannot be read")
        words += part
    return words


def named(models: list[Model]) -> str:
    """Maker, model and version as model 1 gives them; empty where it is missing."""
    for model in models:
        if model.number == 1 and len(model.words) >= 50:
            texts = (_text(model.words[2:18]), _text(model.words[18:34]), _text(model.words[42:50]))
            return " ".join(text for text in texts if text)
    return ""


def _text(words: tuple[int, ...]) -> str:
    raw = b"".join(word.to_bytes(2, "big") for word in words)
    return raw.split(b"\0")[0].decode("ascii", "replace").strip()


def sunspec_map(models: list[Model]) -> RegisterMap:
    """A register map of what serves a pump. SunspecError: nothing of it is there.

    A point that is 'not implemented' now is left out; where two models offer a channel, the first one listed counts.
    """
    registers: dict[str, Register] = {}
    for model in models:
        if model.number == 160 and (len(model.words) <= _ARRAY_INPUTS_AT or model.words[_ARRAY_INPUTS_AT] != 1):
            continue
        for point in _POINTS.get(model.number, ()):
            register = _register(model, point)
            if register is not None:
                registers.setdefault(point.channel, register)
    if not registers:
        listed = ", ".join(str(model.number) for model in models) or "none"
        raise SunspecError(f"none of its models serves a pump (it lists {listed})")
    facts = MapFacts("sunspec", named(models) or "a device that describes itself by SunSpec")
    return RegisterMap(facts, tuple(registers.values()))


def _register(model: Model, point: Point) -> Register | None:
    width = 2 if point.type in ("u32", "f32") else 1
    words = list(model.words[point.offset : point.offset + width])
    if len(words) < width:
        return None
    number = number_of(words, point.type)
    missing = NOT_IMPLEMENTED.get(point.type)
    is_nan = point.type == "f32" and number != number
    if number == missing or is_nan:
        return None
    exponent = 0
    if point.scale_at is not None:
        exponent = int(number_of([model.words[point.scale_at]], "i16"))
        if exponent not in SCALES:
            return None
    return Register(
        "holding",
        model.address + point.offset,
        point.type,
        point.channel,
        point.unit,
        scale=10.0**exponent if exponent >= 0 else float(f"1e{exponent}"),
        unavailable=() if missing is None else (float(missing),),
        meanings=_STATES if point.channel == "motor_running" else (),
        note=f"SunSpec model {model.number}",
    )
