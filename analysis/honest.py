"""What no instrument can honestly say is no reading: null, whoever brings the rows in.

Flow: pipeline.py (rows as they come) -> HERE -> merge.py. Gateways and files refuse such values too; a caller of the engine need not have.
Element by element, so that no cut into blocks matters. Never: a value changed; a value that could be.
"""

from dataclasses import replace

import numpy as np

from analysis.plant import Plant
from analysis.rows import Floats, Rows
from analysis.sky import CHANNEL as TOLD_SKY
from logger.record.channels import channel_of

FASTER = 2.0
"""Times the fastest speed that datasheet or motor know: beyond it no controller drives a borehole pump (common practice, no source). A register
that reads all ones, 65535 or a tenth of it, lies there or beyond."""


def honest(plant: Plant, rows: Rows) -> Rows:
    """The rows with NaN where a value lies outside what its channel, or this pump's motor, can say; the same rows where none does."""
    mended: dict[str, Floats] = {}
    for name, column in rows.values.items():
        if name == TOLD_SKY:
            continue  # what a neighbour tells is no reading
        lowest, highest = channel_of(name).lowest, channel_of(name).highest
        if name.startswith("motor_speed_rpm"):
            most = FASTER * _fastest_rpm(plant)
            lowest, highest = max(lowest, -most), min(highest, most)
        if not len(column) or (column.min() >= lowest and column.max() <= highest):
            continue  # without a NaN in it, as most columns of most seasons are: two looks, and nothing written
        with np.errstate(invalid="ignore"):
            wrong = (column < lowest) | (column > highest)
        if wrong.any():
            mended[name] = np.where(wrong, np.nan, column)
    return replace(rows, values={**rows.values, **mended}) if mended else rows


def _fastest_rpm(plant: Plant) -> float:
    known = [row.speed_rpm for row in plant.facts.pump.curve if row.speed_rpm]
    return max([*known, plant.facts.motor.rated_speed_rpm or 0.0]) or np.inf
