"""Physics of the installation: pure functions, arrays in, arrays out, no I/O.

For a pump, start at `fit_curve(rows, kind)`: rows of a datasheet or a test bench in, a PumpModel out.
"""

from analysis.physics.pump_curve import fit_curve, fit_pump
from analysis.physics.pump_model import PumpModel
from analysis.physics.reason import Answer, Reason

__all__ = ["Answer", "PumpModel", "Reason", "fit_curve", "fit_pump"]
