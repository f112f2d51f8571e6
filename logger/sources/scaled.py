"""A number as a device says it -> a channel's value: scale, offset, unit, named states.

Flow: text_line.py, one_wire.py ... -> HERE.
Never: where the number came from.
"""

import math
from dataclasses import dataclass, field

from logger.record.channels import CHANNELS, honest
from logger.record.tables import Tables
from logger.record.unit_slips import conversion, units_for
from logger.sources.settings import a_channel

DECIMALS = 9


@dataclass(frozen=True)
class State:
    """What a word of the device stands for, in the channel's own unit."""

    text: str
    value: float


@dataclass(frozen=True)
class Scaled:
    """value = number * scale + offset in `unit` (the channel's own where left out); `states` for words such as ON."""

    channel: str = a_channel()
    unit: str | None = None
    scale: float = 1.0
    offset: float = 0.0
    states: tuple[State, ...] = field(default=(), metadata={"key": "state"})

    def value(self, text: str) -> float | None:
        """What `text` says; None where it is neither a known word nor a number that the channel can honestly have."""
        text = text.strip()
        for state in self.states:
            if state.text == text:
                return honest(self.channel, state.value)
        try:
            number = float(text)
        except ValueError:
            return None
        factor, offset = conversion(self.unit, CHANNELS[self.channel].unit) or (1.0, 0.0) if self.unit else (1.0, 0.0)
        value = (number * self.scale + self.offset) * factor + offset
        return honest(self.channel, round(value, DECIMALS)) if math.isfinite(value) else None


def judge_scaled(tables: Tables, where: str, scaled: Scaled) -> None:
    """Note a unit that cannot become the channel's, or a scale of 0."""
    wanted = CHANNELS[scaled.channel].unit
    if scaled.unit is not None and conversion(scaled.unit, wanted) is None:
        wrong = f"'{scaled.unit}' cannot become {wanted}, the unit of {scaled.channel}"
        tables.wrong(f"{where}.unit", wrong, f"one of {', '.join(units_for(wanted))}")
    if scaled.scale == 0:
        tables.wrong(f"{where}.scale", "0 would make every value the same", "write the factor, 0.1 say")
