"""One remark on a site file, and what the checks look at.

Flow: a typed site file -> HERE -> the families of checks -> commands/check.py
Never: printing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from analysis.expected import SiteModel
from analysis.physics.cell_temperature import ambient_default
from analysis.physics.pipe_friction import velocity_m_s
from analysis.site_check.clear_day import ClearDay, clear_days
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

Grade = Literal["wrong", "doubtful", "note"]
COLD_SPELL_C = 8.0
"""A year's coldest morning below, and hottest noon above, an ordinary one: common practice, no source."""

VELOCITY_MOST_M_S = 3.0
"""0.5 to 1.5 m/s is economical in pipes, 3 m/s the most (common practice)."""
CHOKED = 0.6
"""Of the free flow: friction of a tenth of the head, as is customary, leaves far more."""
STARVED = 0.25
"""Likewise: so little is no tank's or pipe's fault."""
FRACTIONS = np.linspace(0.2, 1.0, 17)
"""Of full power: at a low head the last of it lies off the table."""


@dataclass(frozen=True)
class Remark:
    """`grade`: wrong = it cannot work or is unsafe; doubtful = look again; note = good to know, no fault."""

    grade: Grade
    problem: Problem

    def __str__(self) -> str:
        return f"{self.grade}: {self.problem}"


Remarks = Iterator[Remark]


class Checked:
    """A site under check: its facts, and what they come to, worked out on first use.

    `file`: the name to print. Each check asks `wrong`, `doubtful` or `note` for its remark.
    """

    def __init__(self, facts: SiteFacts, file: str) -> None:
        self.facts, self.file = facts, file

    @cached_property
    def model(self) -> SiteModel:
        """ValueError: the datasheets fit no pump or module (`datasheets.py` says so in words)."""
        return SiteModel(self.facts)

    @cached_property
    def days(self) -> tuple[ClearDay, ...]:
        """A clear day of each season."""
        return clear_days(self.model)

    @property
    def flow_most_m3_h(self) -> float:
        """Largest flow of the clear days; 0 where none is lifted."""
        return max((day.flow_most_m3_h for day in self.days), default=0.0)

    @property
    def rest_m(self) -> float:
        """Lift at rest: static level and outlet height. [m]"""
        return self.facts.well.static_level_m + self.facts.delivery.outlet_height_m

    @cached_property
    def free_flow_m3_h(self) -> float:
        """What the pump would lift at the resting lift on all the power there is, were pipes and well wide; 0 off its table."""
        array, curve = self.facts.array, self.facts.pump.curve
        peak = array.modules_in_series * array.strings * array.module.p_mp_w
        full = min(peak, self.facts.controller.max_power_w, max(row.power_w for row in curve))
        return float(np.nanmax(self.model.pump.flow_of_power(full * FRACTIONS, self.rest_m), initial=0.0))

    @property
    def starved(self) -> bool:
        """What hangs on the clear days' flow is not to be judged: far less flows than this pump could lift at its resting lift."""
        return self.flow_most_m3_h < STARVED * self.free_flow_m3_h

    @cached_property
    def choked(self) -> tuple[str, ...]:
        """ "riser", "pipe": through which the free flow could not pass at a sound velocity, and does not.

        Only where that pipe takes more than half of the head beyond the resting lift: else it is the well that gives no more.
        """
        most, free, curve = self.flow_most_m3_h, self.free_flow_m3_h, self.model.curve
        if not most < CHOKED * free:
            return ()
        flow = most or free
        beyond = float(curve.head_m(flow)) - self.rest_m
        losses = {"riser": float(curve.riser_loss_m(flow)), "pipe": float(curve.pipe_loss_m(flow))}
        return tuple(
            name for name, loss in losses.items()
            if loss > 0.5 * beyond
            and float(velocity_m_s(free, getattr(self.facts.delivery, f"{name}_inner_diameter_mm") / 1000.0)) > VELOCITY_MOST_M_S
        )  # fmt: skip

    @cached_property
    def coldest_c(self) -> float:
        """Coldest morning: the file's, else the usual one of the place less a cold spell. [deg C]"""
        stated = self.facts.site.lowest_ambient_c
        return float(self._usual().min() - COLD_SPELL_C) if stated is None else stated

    @cached_property
    def hottest_c(self) -> float:
        """Hottest noon: the file's, else the usual one of the place and a heat wave. [deg C]"""
        stated = self.facts.site.highest_ambient_c
        return float(self._usual().max() + COLD_SPELL_C) if stated is None else stated

    def _usual(self) -> np.ndarray:
        days, hours = np.arange(0, 365, 5.0)[:, None], np.arange(24.0)[None, :]
        return ambient_default(self.facts.site.latitude_deg, self.facts.site.altitude_m, days, hours)

    def wrong(self, key: str, what: str, fix: str) -> Remark:
        """It cannot work, or is unsafe."""
        return Remark("wrong", Problem(self.file, key, what, fix))

    def doubtful(self, key: str, what: str, fix: str) -> Remark:
        """Look again."""
        return Remark("doubtful", Problem(self.file, key, what, fix))

    def note(self, key: str, what: str, fix: str) -> Remark:
        """Good to know."""
        return Remark("note", Problem(self.file, key, what, fix))
