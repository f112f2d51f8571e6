"""The array as wired: strings, cable, dust, shade -> power at the controller's input.

Flow: cells.py, sky.py, effects.py -> HERE -> run.py (power to be had), electric.py (volts and amps).
Never: what the controller does with the power.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.record.site_facts import SiteFacts
from samples.plant.cells import Cells, best_junction_v, cells_of, current_and_voltage, lit_and_warm
from samples.plant.effects import Effects
from samples.plant.sky import Sky

Floats = NDArray[np.float64]
COPPER_OHM_MM2_M = 0.0185  # at 35 deg C
DARK_W_M2 = 3.0


@dataclass(frozen=True)
class Horizon:
    """A tree, roof or hill: hides the sun from `share` of the strings where it stands in the box."""

    from_deg: float
    to_deg: float
    height_deg: float
    share: float

    def hides(self, sky: Sky) -> Floats:
        """Share of the array without beam, (steps, days)."""
        inside = (sky.azimuth_deg - self.from_deg) % 360.0 <= (self.to_deg - self.from_deg) % 360.0
        under = np.clip((self.height_deg - sky.elevation_deg) / 1.5 + 0.5, 0.0, 1.0)
        return np.where(inside, under * self.share, 0.0)


@dataclass(frozen=True)
class Panels:
    """The array as it really is. `quality`: factor on current for tolerance, mismatch and age."""

    cells: Cells
    in_series: int
    strings: int
    quality: float
    wire_ohm: float
    horizon: tuple[Horizon, ...] = ()


@dataclass(frozen=True)
class Supply:
    """What the array offers, (steps, days) each: at maximum power after wire and joint, and open.

    `light`, `dark`, `slope`: the module's diode, for operation off the maximum. `strings`, `modules`: as they count now.
    """

    power_w: Floats
    voltage_v: Floats
    current_a: Floats
    open_v: Floats
    light: Floats
    dark: Floats
    slope: Floats
    strings: Floats
    modules: Floats
    ohm: Floats


def panels_of(facts: SiteFacts, quality: float, horizon: tuple[Horizon, ...] = ()) -> Panels:
    """Datasheet and layout of the site file, with this array's own quality."""
    array = facts.array
    wire = 0.0
    if array.cable_length_m and array.cable_mm2:
        wire = 2 * COPPER_OHM_MM2_M * array.cable_length_m / array.cable_mm2
    return Panels(cells_of(array.module), array.modules_in_series, array.strings, quality, wire, horizon)


def supply(panels: Panels, sky: Sky, effects: Effects) -> Supply:
    """What the array gives under this sky with these effects."""
    dark_share = np.asarray(effects["shade"], float)
    for thing in panels.horizon:
        dark_share = np.maximum(dark_share, thing.hides(sky))
    plane = sky.beam_w_m2 * (1 - dark_share) + sky.diffuse_w_m2 * (1 - 0.15 * np.asarray(dark_share))
    clean = (1 - sky.dust[None, :]) * (1 - effects["soil_lost"])
    light, dark, slope, open_v = lit_and_warm(panels.cells, plane * clean * panels.quality, sky.module_c)
    best = best_junction_v(light, dark, slope, panels.cells.series_ohm, panels.cells.shunt_ohm, open_v)
    current, volts = current_and_voltage(light, dark, slope, panels.cells.series_ohm, panels.cells.shunt_ohm, best)
    strings = np.maximum(panels.strings - np.asarray(effects["strings_lost"], float), 0.0)
    length = panels.in_series + np.asarray(effects["modules_added"], float)
    modules, kept = _bypassed(length, np.maximum(strings, 1e-9), np.asarray(effects["modules_lost"], float))
    ohm = panels.wire_ohm + np.asarray(effects["array_ohm"], float)
    amps = np.where(plane > DARK_W_M2, current, 0.0) * strings * kept
    at_terminals = volts * modules
    felt = np.maximum(at_terminals - amps * ohm, 0.5 * at_terminals)
    open_array = np.where((plane > DARK_W_M2) & (strings > 0), open_v * length, 0.0)
    shape = sky.unix_s.shape
    return Supply(
        felt * amps, felt, amps, open_array, light, dark, slope,
        np.broadcast_to(strings * kept, shape), np.broadcast_to(modules, shape), np.broadcast_to(ohm, shape),
    )  # fmt: skip


def _bypassed(length: Floats, strings: Floats, lost: Floats) -> tuple[Floats, Floats]:
    """Modules that count and the share of current kept, with `lost` modules bypassed in one of the strings.

    One string alone: the voltage side falls. Among several, the short string is held at the others' voltage, above
    its own best, and gives less current: the fall of current is taken from the shape of a diode's knee.
    """
    alone = strings < 1.5
    share = lost / length
    knee = np.clip(1.0 - 3.5 * share - 55.0 * share**2, 0.0, 1.0)
    return np.where(alone, length - lost, length), np.where(alone, 1.0, 1.0 - (1.0 - knee) / strings)


def volts_at_power(panels: Panels, offer: Supply, where: NDArray[np.bool_], power_w: Floats) -> tuple[Floats, Floats]:
    """Voltage and current at the controller where it takes less than the maximum: on the side above the best voltage.

    `where` picks rows of (steps, days); `power_w` has one value for each. 24 halvings of the junction voltage.
    """
    cells = panels.cells
    light, dark, slope = offer.light[where], offer.dark[where], offer.slope[where]
    strings, modules, ohm = offer.strings[where], offer.modules[where], offer.ohm[where]
    high = offer.open_v[where] / np.maximum(modules, 1e-9)
    low = best_junction_v(light, dark, slope, cells.series_ohm, cells.shunt_ohm, high)
    amps, volts = np.zeros_like(low), np.zeros_like(low)
    for _ in range(24):
        middle = 0.5 * (low + high)
        current, voltage = current_and_voltage(light, dark, slope, cells.series_ohm, cells.shunt_ohm, middle)
        amps = current * strings
        volts = voltage * modules - amps * ohm
        more = amps * volts > power_w
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return volts, np.maximum(amps, 0.0)
