"""What the pump says of the array's figures: whether a reading that they call off is off, and whether a loss that they show is one.

Flow: lying.py (a group's alarm), slow.py (shifts, forms) -> HERE -> slow_life.py.
Where nothing reads the input power by itself it is volts times amperes, and a pump turned by less power than is read gives less water,
and needs less torque, than that power asks for. So a pump that goes on as ever proves both readings, and one that gives more than ever
for what is read has not lost its array. Likewise a sensor of the sun is held against the array that lies beside it, and against a clear sky.
Never: rows; the life of a finding.
"""

import numpy as np

from analysis.estimates.effects import Effect
from analysis.estimates.vector import HOURS, PLACE
from analysis.learning import Learnt
from analysis.lying import LIGHT, OF_THE_POWER, VOLTS
from analysis.rows import Floats
from analysis.slow import Alarm, Shift, SlowBench, amounts_of, shift_of

TELLS = 6.0
"""Log-likelihood ratio from which the pump is believed over the array's figures: z of 3.5."""
ALIKE = (0.5, 2.0)  # of the loss that the array shows, what the pump says that the reading lacks
SUN = np.arange(PLACE["s0"], PLACE["s0"] + HOURS)
TORQUE, SKY = PLACE["t2"], PLACE["gc"]
SENSOR = "sensor-fault"


def denied(
    bench: SlowBench,
    learnt: Learnt,
    recent: Floats,
    alarm: Alarm,
    cause: str,
    form: int,
    nuisance: list[tuple[int, float]],
) -> bool:
    """Whether what the array's figures alone would tell of is denied by the pump's of the same days, or rests on the sky alone.

    alarm, cause, form
        Of the array's group, and what it is weighed to be.
    nuisance
        The pump's own open faults, which say nothing of a reading.
    """
    if alarm.shift.group != "electric":
        return False
    effect, sensor = bench.effects[form], cause == SENSOR
    if sensor and effect.channel == LIGHT:
        return not np.isin(alarm.shift.places, SUN).any() or _under_the_sky(alarm.shift, effect, alarm.amount)
    if sensor and effect.channel != VOLTS:
        return False
    if not sensor:
        return read_too_little(
            bench, learnt, recent, alarm.shift.days, -float(bench.directions[form, SUN].min()) * alarm.amount, nuisance
        )
    moved = shift_of(bench, learnt, recent, "hydraulic", alarm.shift.days, nuisance)
    return moved is not None and _sound(bench, moved, effect.direction[PLACE["av1"]] * alarm.amount)


def read_too_little(
    bench: SlowBench, learnt: Learnt, recent: Floats, days: int, lost: float, nuisance: list[tuple[int, float]]
) -> bool:
    """Whether the pump, or another reading of the power, says that the array's power is read too little, by about what it seems to have `lost` (log)."""
    moved = shift_of(bench, learnt, recent, "hydraulic", days, nuisance)
    low = _low(bench)
    if moved is None or not len(low):
        return False
    amounts, _, ratios = amounts_of(bench, moved, low)
    return bool(((amounts > ALIKE[0] * lost) & (amounts < ALIKE[1] * lost) & (ratios >= TELLS)).any())


def misread(bench: SlowBench, learnt: Learnt, recent: Floats, nuisance: list[tuple[int, float]]) -> bool:
    """Likewise of what the array lacks on the newest day, in the middle of its hours, by the last days of the pump: not every one tells."""
    hours = recent[-1, SUN] - learnt.mean[SUN]
    told = hours[~np.isnan(hours)]
    if not len(told):
        return False
    lost = -float(np.median(told))
    return any(read_too_little(bench, learnt, recent, days, lost, nuisance) for days in (1, 2, 3))


def _under_the_sky(moved: Shift, effect: Effect, amount: float) -> bool:
    """Whether the clear sky says that the sun's sensor reads right, rather than off by so much (log)."""
    (at,) = np.flatnonzero(moved.places == SKY)[:1].tolist() or [-1]
    if at < 0:
        return False
    off = effect.direction[SKY] * amount
    variance = moved.covariance[at, at] + (effect.loose * off) ** 2
    return bool((0.5 * off - moved.mean[at]) * off / variance >= TELLS)


def _low(bench: SlowBench) -> np.ndarray:
    """Forms of volts and amperes that read too little: less torque than ever for that power, or more on its own reading."""
    forms = [f for f in bench.groups["hydraulic"] if bench.effects[f].channel in OF_THE_POWER]
    torque, own = bench.directions[forms, TORQUE], bench.directions[forms, PLACE["pw"]]
    return np.array(forms, np.int64)[(torque < 0.0) | ((torque == 0.0) & (own > 0.0))]


def _sound(bench: SlowBench, moved: Shift, off: float) -> bool:
    """Whether the pump's figures say that the power is read right, rather than with volts off by so much (log)."""
    volts = (f for f in bench.groups["hydraulic"] if bench.effects[f].channel == VOLTS)
    same = [f for f in volts if bench.directions[f, TORQUE] * off > 0.0]
    if not same:
        return False
    along = abs(off) * bench.directions[same[0], moved.places]
    return bool(0.5 * along @ moved.inverse @ along - along @ moved.inverse @ moved.mean >= TELLS)
