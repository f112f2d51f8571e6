"""Physics of the installation: pure functions, arrays in, arrays out, no I/O.

For a pump, start at `fit_curve(rows, kind)`: rows of a datasheet or a test bench in, a PumpModel out.
"""

from analysis.physics.operating_point import OperatingPoint
from analysis.physics.pump_curve import fit_curve, fit_pump
from analysis.physics.pump_model import PumpModel
from analysis.physics.reason import Answer, Reason
from analysis.physics.system_curve import SystemCurve, system_curve

__all__ = [
    "Answer", "OperatingPoint", "PumpModel", "Reason", "SystemCurve", "fit_curve", "fit_pump", "system_curve",
]  # fmt: skip
