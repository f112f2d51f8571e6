"""Riser and pipe: friction by Hazen and Williams, the column's volume, a hole in it.

Flow: site facts -> `pipes_of` -> run.py.
Never: pressure made by the pump.
"""

from dataclasses import dataclass

import numpy as np

from logger.record.site_facts import Delivery

GRAVITY = 9.80665


@dataclass(frozen=True)
class Pipes:
    """Loss in m per (m3/h)^1.852 below and above the wellhead, and in m per (m3/h)^2 for fittings."""

    riser_loss: float
    pipe_loss: float
    fittings_loss: float
    outlet_height_m: float
    column_m3_per_m: float

    def obstruction(self, flow_m3_h):
        """Riser's and pipe's loss at a flow, each as m per (m3/h)^2."""
        softer = np.maximum(flow_m3_h, 0.05) ** -0.148
        return self.riser_loss * softer, self.pipe_loss * softer + self.fittings_loss


def _hazen_williams(length_m: float, diameter_mm: float, smoothness: float) -> float:
    """m of water per (m3/h)^1.852."""
    return 10.67 * length_m / (smoothness**1.852 * (diameter_mm / 1000.0) ** 4.8704) / 3600.0**1.852


def pipes_of(delivery: Delivery, rougher: float) -> Pipes:
    """The pipes of the site file, `rougher` times the loss of clean plastic pipe."""
    area = np.pi / 4 * (delivery.pipe_inner_diameter_mm / 1000.0) ** 2
    riser_area = np.pi / 4 * (delivery.riser_inner_diameter_mm / 1000.0) ** 2
    smoothness = 148.0 - 12.0 * min(delivery.roughness_mm / 0.1, 3.0)
    return Pipes(
        rougher * _hazen_williams(delivery.riser_length_m, delivery.riser_inner_diameter_mm, smoothness),
        rougher * _hazen_williams(delivery.pipe_length_m, delivery.pipe_inner_diameter_mm, smoothness),
        rougher * delivery.minor_loss_coefficient / (2 * GRAVITY * area**2) / 3600.0**2,
        delivery.outlet_height_m,
        float(riser_area),
    )
