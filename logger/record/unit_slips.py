"""Units that can be turned into ours, and the words for those written by mistake.

Flow: tables.py finds a number out of range or a text with a unit -> HERE -> the words of the fix; register maps convert.
Never: a conversion that the file does not ask for.
"""

import re

_SLIPS: dict[str, dict[str, tuple[float, float]]] = {
    "m": {"mm": (1e-3, 0), "cm": (1e-2, 0), "km": (1e3, 0), "ft": (0.3048, 0)},
    "mm": {"m": (1e3, 0), "cm": (10, 0), "in": (25.4, 0), "um": (1e-3, 0)},
    "W": {"kW": (1e3, 0), "hp": (745.7, 0)},
    "V": {"kV": (1e3, 0), "mV": (1e-3, 0)},
    "W/m2": {"kW/m2": (1e3, 0), "mW/cm2": (10, 0)},
    "Hz": {"kHz": (1e3, 0), "1/min": (1 / 60, 0), "mHz": (1e-3, 0)},
    "A": {"mA": (1e-3, 0)},
    "m3/h": {"L/h": (1e-3, 0), "L/min": (0.06, 0), "L/s": (3.6, 0), "m3/day": (1 / 24, 0)},
    "m3": {"L": (1e-3, 0), "hL": (0.1, 0)},
    "s": {"min": (60, 0), "ms": (1e-3, 0), "h": (3600, 0)},
    "min": {"s": (1 / 60, 0), "h": (60, 0)},
    "%": {"a fraction": (100, 0)},
    "%/deg C": {"1/deg C": (100, 0)},
    "deg C": {"K": (1, -273.15), "deg F": (5 / 9, -160 / 9)},
    "1/min": {"1/s": (60, 0)},
    "bar": {
        "kPa": (0.01, 0),
        "Pa": (1e-5, 0),
        "psi": (0.0689476, 0),
        "MPa": (10, 0),
        "mbar": (1e-3, 0),
        "m of water": (0.0980665, 0),
    },
    "deg": {},
}
"""By the unit wanted: unit written -> (factor, offset), wanted = factor * written + offset."""

_SAME = {"metre": "m", "metres": "m", "meter": "m", "meters": "m", "l": "L", "litres": "L", "c": "deg C", "°c": "deg C",
         "°": "deg", "degrees": "deg", "rpm": "1/min", "watt": "W", "watts": "W", "kw": "kW", "percent": "%", "mm²": "mm2",
         "m³": "m3", "m³/h": "m3/h", "m^3/h": "m3/h", "l/min": "L/min", "l/s": "L/s", "l/h": "L/h"}  # fmt: skip
_NUMBER_AND_UNIT = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)\s*(.*?)\s*")


def units_for(unit: str) -> list[str]:
    """Units that can be turned into `unit`, itself first."""
    return [unit, *_SLIPS.get(unit, {})]


def conversion(written: str, unit: str) -> tuple[float, float] | None:
    """(factor, offset) with value in `unit` = factor * value in `written` + offset; None: it cannot become that."""
    written = _SAME.get(written.lower(), written)
    return (1.0, 0.0) if written == unit else _SLIPS.get(unit, {}).get(written)


def plain(number: float) -> str:
    """A number as one would write it in the file: 8, 0.25, 1e-05."""
    return f"{number:.12g}"


def from_text(text: str, unit: str) -> tuple[float, str] | None:
    """The number that a text such as '8 m' or '8,5' means in `unit`, and what to say of it; None: no number in it."""
    found = _NUMBER_AND_UNIT.fullmatch(text)
    if not found:
        return None
    number, written = float(found[1].replace(",", ".")), _SAME.get(found[2].lower(), found[2])
    if written in ("", unit):
        return number, ""
    factor, offset = _SLIPS.get(unit, {}).get(written, (0.0, 0.0))
    if not factor:
        return None
    return number * factor + offset, f" ({found[1]} {written} in {unit})"


def likely_slips(number: float, unit: str, lowest: float, highest: float) -> list[tuple[str, float]]:
    """(unit, value) for units in which `number` would fall into the range; the likeliest first, at most two."""
    seen = [(other, number * factor + offset) for other, (factor, offset) in _SLIPS.get(unit, {}).items() if factor]
    return [(other, value) for other, value in seen if lowest <= value <= highest and value != 0][:2]
