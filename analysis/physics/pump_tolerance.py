"""What a pump may differ from its datasheet and still be as sold.

Flow: HERE -> pump_curve.py (uncertainty), site check. Numbers of ISO 9906:2012 from memory: no claim of conformity.
Never: I/O, pandas.
"""

from dataclasses import dataclass

SMALL_PUMP_W = 10_000.0


@dataclass(frozen=True)
class Tolerance:
    """Allowed departures in per cent of the datasheet: from, to; power at most, efficiency at least."""

    flow_pct: tuple[float, float]
    head_pct: tuple[float, float]
    power_pct: float | None
    efficiency_pct: float


GRADES = {
    "1B": Tolerance((-5, 5), (-3, 3), 4, -3),
    "1E": Tolerance((-5, 5), (-3, 3), 4, 0),
    "1U": Tolerance((0, 10), (0, 6), 10, 0),
    "2B": Tolerance((-8, 8), (-5, 5), 8, -5),
    "2U": Tolerance((0, 16), (0, 10), 16, -5),
    "3B": Tolerance((-9, 9), (-7, 7), 9, -7),
}


def grade_for(power_w: float) -> str | None:
    """Default acceptance grade of an irrigation pump, None where it is too small for any.

    Parameters
    ----------
    power_w : float
        Power taken in, above 0. [W]

    Returns
    -------
    str or None
        "3B" above 10 kW. [-]

    Raises
    ------
    ValueError
        `power_w` is not above 0.

    References
    ----------
    .. [1] ANSI/HI 14.6, default grades by service, as restated in trade articles.
    """
    if not power_w > 0:
        raise ValueError(f"power_w must be above 0, got {power_w!r}")
    return "3B" if power_w > SMALL_PUMP_W else None


def tolerance(power_w: float) -> Tolerance:
    """Tolerance that a pump of this size is sold with, where its datasheet names none.

    Parameters
    ----------
    power_w : float
        Largest power taken in, above 0. [W]

    Returns
    -------
    Tolerance
        Up to 10 kW +-10 % flow, +-8 % head and a formula for efficiency; above, grade 3B. [%]

    Raises
    ------
    ValueError
        `power_w` is not above 0.

    References
    ----------
    .. [1] ISO 9906:2012, clauses 4.4.1 (table 8) and 4.4.2. Numbers from memory.
    """
    grade = grade_for(power_w)
    if grade:
        return GRADES[grade]
    return Tolerance((-10, 10), (-8, 8), None, -(10 * (1 - power_w / SMALL_PUMP_W) + 7))
