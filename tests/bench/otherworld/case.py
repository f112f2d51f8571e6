"""One season of one drawn site: the readings that a board would have sent, and what was really wrong."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from .day import control, operate, settle, voltages
from .faults import DAY, Wrong, draw_wrong, hurt_at, stretches
from .plant import Hurt
from .pumps import scaled
from .sensors import readings
from .sites import FITOUTS, draw_site, site_toml
from .sky import make_sky

CAUSES = (
    "dry-running", "clogging", "closed-delivery", "worn-pump", "broken-shaft", "riser-leak", "falling-water-level", "panel-soiling", "shading",
    "string-out", "controller-derating", "cable-fault", "reverse-rotation", "failed-start", "stalled-motor", "over-voltage", "controller-trip",
    "short-cycling", "sensor-fault", "silent",
)  # fmt: skip
NOT_LEAN = ("controller-trip", "sensor-fault", "over-voltage", "reverse-rotation", "broken-shaft")
"""What no one can name from array power and a meter alone: without a code, a motor current or a second sensor."""
LARGE = 0.15  # of the flow: what is asked to be told within days
LOOK_ALIKES = ("tank-full", "turned-down", "below-datasheet", "horizon", "dust", "switched-off")


@dataclass
class Truth:
    """What was wrong: `size` in the measure that a finding of this cause carries, NaN where none was worked out.

    `slight`: it left so little a mark that finding it is neither asked nor wrong. `passed_s`: when its flow lost first came to 15 %, in
    seconds since the epoch, taken to go with how far it had grown; None where it never did.
    """

    cause: str
    part: str | None
    channel: str | None
    began: pd.Timestamp
    ended: pd.Timestamp | None
    size: float
    slight: bool = False
    passed_s: float | None = None


@dataclass
class Case:
    """A site file's text, its readings and the truth; `look_alikes` names what is odd and no fault."""

    name: str
    site_toml: str
    frame: pd.DataFrame
    truths: list[Truth]
    look_alikes: list[str]


def draw_case(
    seed: int, fitout: str | None = None, cause: str | None = None, days: int = 150, step_s: int = 60
) -> Case:
    """A case from one seed. `cause`: the fault to draw, `none` for a healthy season; drawn where not said."""
    rng = np.random.default_rng([seed, 0x5EC0])
    kind = str(rng.choice(["helical-rotor", "multistage-centrifugal"]))
    fitout = fitout or str(rng.choice(list(FITOUTS)))
    site, new_pump = draw_site(rng, kind, fitout)
    look_alikes = [str(rng.choice(LOOK_ALIKES))] if rng.random() < 0.4 else []
    # Nobody can tell a pump that was switched off from one that will not start, but by its switch.
    site["channels"] = FITOUTS[fitout] + (["switched_on"] if "switched-off" in look_alikes else [])
    start = pd.Timestamp("2031-01-01", tz="UTC") + pd.Timedelta(days=int(rng.integers(0, 700)))
    time_s = start.timestamp() + np.arange(0, days * DAY, 60, dtype=float)
    tellable = [name for name in CAUSES if fitout != "lean" or name not in NOT_LEAN]
    cause = cause or (str(rng.choice(tellable)) if rng.random() < 0.75 else "none")
    wrongs = [] if cause == "none" else [draw_wrong(rng, cause, site, time_s[0], time_s[-1])]
    visits = _lead_work(wrongs, site)
    if cause == "over-voltage":
        site["rating_share"] = 1.03
    sky = make_sky(site, time_s, rng)
    soiled = [Wrong(name, time_s[0], time_s[-1] + 1, 0.6) for name in look_alikes if name in ("dust", "horizon")]
    visits += _wash(wrongs + soiled, sky)
    toml = site_toml(site, new_pump, f"other-{seed}", visits)
    columns = run(site, _as_built(new_pump, look_alikes, rng), sky, wrongs, soiled, look_alikes, rng)
    frame = readings(site, sky, columns, wrongs, rng, step_s)
    return Case(f"other-{seed}", toml, frame, _truths(wrongs, columns, time_s), look_alikes)


def _as_built(pump, look_alikes, rng):
    return scaled(pump, 0.95 if "below-datasheet" in look_alikes else float(np.clip(rng.normal(1, 0.02), 0.95, 1.05)))


def _lead_work(wrongs, site):
    """Leads are exchanged while the pump stands: here before sunrise; one time in two it is written down."""
    visits = []
    for wrong in wrongs:
        if wrong.cause == "reverse-rotation":
            night_s = -site["longitude_deg"] * 240 + 4 * 3600  # four in the morning by the sun
            wrong.begins = (wrong.begins // DAY) * DAY + night_s
            if wrong.much > 0.65:
                visits.append((str(pd.Timestamp(wrong.begins, unit="s").date()), "leads-moved"))
    return visits


def _wash(wrongs, sky):
    """Rain above 5 mm cleans; people clean once in a while and write it down."""
    visits = []
    rain = list(sky.time_s[::1440][sky.rain_mm > 5])
    for wrong in wrongs:
        if wrong.cause in ("panel-soiling", "dust"):
            wrong.washed = [r for r in rain if r > wrong.begins + (15 * DAY if wrong.cause == "panel-soiling" else 0)]
            if wrong.cause == "panel-soiling" and wrong.ends < sky.time_s[-1]:
                visits.append((str(pd.Timestamp(wrong.ends, unit="s").date()), "panels-washed"))
    return visits


def run(site, pump, sky, wrongs, soiled, look_alikes, rng):
    """All minutes of the season, as columns."""
    time_s, n = sky.time_s, len(sky.time_s)
    true = {"current": rng.normal(1, 0.012), "voltage": rng.normal(1, 0.008)}
    offset, case_heat = rng.normal(0, 0.8), rng.uniform(6, 12)
    site["speed_share"] = 1.0
    out: dict[str, np.ndarray] = {}
    for part in stretches(time_s, wrongs + soiled):
        middle = time_s[part][len(time_s[part]) // 2]
        season = 0.5 * site["seasonal"] * np.sin(2 * np.pi * middle / (365.25 * DAY) + 1.0)
        resting = site["static"] + offset + season
        site["speed_share"] = (
            0.6 if "turned-down" in look_alikes and (middle - time_s[0]) % (40 * DAY) < 8 * DAY else 1.0
        )
        hurt = hurt_at(wrongs + soiled, middle, site)
        got = operate(site, pump, hurt, sky, part, resting, true, case_heat)
        healthy = operate(
            site,
            pump,
            Hurt(cap=hurt.cap, current=hurt.current, voltage=hurt.voltage, series_ohm=hurt.series_ohm),
            sky,
            part,
            resting,
            true,
            case_heat,
        )
        well = operate(site, pump, hurt_at(soiled, middle, site), sky, part, resting, true, case_heat)
        got["twin"] = np.interp(
            got["taken"],
            np.maximum.accumulate(healthy["taken"][np.argsort(healthy["taken"])]),
            healthy["flow"][np.argsort(healthy["taken"])],
        )
        got["best_twin"], got["taken_twin"] = well["best"], well["taken"]
        got["resting"] = np.full(len(got["flow"]), resting + hurt.deeper)
        got["state"] = np.full(len(got["flow"]), hash_state(hurt.state))
        for name, values in got.items():
            out.setdefault(name, np.zeros(n, values.dtype))[part] = values
    return _operated(site, out, sky, wrongs, look_alikes, case_heat, rng)


def hash_state(state: str) -> float:
    return {"": 0, "dry": 1, "shut": 2, "broken": 3, "reversed": 4, "stalled": 5, "no-start": 6}[state]


def _operated(site, out, sky, wrongs, look_alikes, case_heat, rng):
    time_s, n = sky.time_s, len(sky.time_s)
    asked = np.ones(n, bool)
    codes = np.zeros(n)
    if "switched-off" in look_alikes:
        asked &= ~((time_s - time_s[0]) % (50 * DAY) < 3 * DAY)
    out["switch"] = asked.astype(float)
    for wrong in wrongs:
        during = (time_s >= wrong.begins) & (time_s < wrong.ends)
        if wrong.cause == "controller-trip":
            hit = during & (rng.random(n) < 0.006 + 0.01 * wrong.much)
            stopped = np.convolve(hit, np.ones(8))[:n] > 0
            codes[stopped & (sky.poa > 150)] = 7
            asked &= ~stopped
        if wrong.cause == "short-cycling":
            asked &= ~(during & ((time_s // 60) % (6 + int(8 * (1 - wrong.much))) < 3))
        if wrong.cause == "over-voltage":
            high = during & (out["v_open"] > site["series"] * 46.1 * 1.03)
            asked &= ~high
            codes[high] = 12
    asked &= out["state"] < 5
    use = _use(site, out, sky, look_alikes, rng)
    running, levels, floats, flow = control(site, out, asked, use)
    volts, amps = voltages(out, running, rng)
    drawn = settle(np.where(running, out["drawn"], 0), 8.0)
    out |= {"running": running, "tank": levels, "float": floats, "volts": volts, "pv_amps": amps, "got_flow": flow}
    level = out["resting"] + drawn
    dry = settle((out["state"] == 1).astype(float), 30.0)  # a pump runs dry where the well is empty down to its intake
    level = level + dry * np.maximum(site["setting"] - 0.1 - level, 0.0)
    out |= {"level": level, "codes": codes, "heat": sky.ambient + case_heat + sky.poa * 0.018}
    return out


def _use(site, out, sky, look_alikes, rng):
    """Draw-off by the minute; when the tank is to stand full for weeks, a tenth of what could come."""
    day = ((sky.time_s - sky.time_s[0]) // DAY).astype(int)
    could = np.bincount(day, out["flow"] * out["run"] / 60)
    level = (
        np.where((np.arange(could.size) // 14 % 3 == 1), 0.1, 1.1)
        if "tank-full" in look_alikes
        else np.full(could.size, 1.15)
    )
    hour = (sky.time_s / 3600 + site["longitude_deg"] / 15) % 24
    pattern = 0.4 + np.exp(-((hour - 7) ** 2) / 4) + np.exp(-((hour - 17) ** 2) / 4)
    mean = (
        np.maximum(np.median(could[could > 0]), 0.1) if could.any() else 0.1
    )  # people draw as ever while it gives none
    return mean * level[day] * pattern / pattern[:1440].mean() / 24 * rng.uniform(0.9, 1.1)


def _truths(wrongs, columns, time_s):
    """The truth of each fault, and whether it left a mark worth asking for."""
    truths = []
    for wrong in wrongs:
        during = (time_s >= wrong.begins) & (time_s < wrong.ends)
        tail = during & (time_s > wrong.ends - 10 * DAY)
        size = _size(wrong.cause, columns, tail, during)
        slight = _slight(wrong.cause, size, columns, during, time_s)
        ended = None if wrong.ends >= time_s[-1] else pd.Timestamp(wrong.ends, unit="s", tz="UTC")
        began = pd.Timestamp(wrong.begins, unit="s", tz="UTC")
        passed = _passed_s(wrong, float(size), time_s[tail])
        truths.append(Truth(wrong.cause, wrong.part, wrong.channel, began, ended, float(size), bool(slight), passed))
    return truths


def _passed_s(wrong, size, tail_s):
    full = size / max(np.mean([wrong.grown(t) for t in tail_s[::60]]), 1e-9) if len(tail_s) else np.nan
    if not full >= LARGE:
        return None
    return wrong.begins + wrong.ramp_days * DAY * LARGE / full


def _size(cause, columns, tail, during):
    """As it stood in its last ten days; NaN for causes whose size is not worked out here."""
    run = tail & columns["running"]
    if cause in ("clogging", "worn-pump", "riser-leak", "reverse-rotation"):
        return 1 - columns["got_flow"][run].sum() / max(columns["twin"][run].sum(), 1e-9)
    if cause in ("panel-soiling", "string-out"):
        lit = tail & (columns["best_twin"] > 0)
        return 1 - columns["best"][lit].sum() / max(columns["best_twin"][lit].sum(), 1e-9)
    if cause in ("shading", "controller-derating", "cable-fault"):
        lit = during & (columns["best_twin"] > 0)
        return 1 - columns["taken"][lit].sum() / max(columns["taken_twin"][lit].sum(), 1e-9)
    return np.nan


def _slight(cause, size, columns, during, time_s):
    if cause == "over-voltage":
        return len(set(time_s[during & (columns["codes"] == 12)] // DAY)) < 3
    if cause in ("dry-running", "broken-shaft", "reverse-rotation"):
        return (during & columns["running"]).sum() < 60
    least = {"shading": 0.03, "controller-derating": 0.04, "cable-fault": 0.04}.get(cause, 0.06)
    return not np.isnan(size) and size < least
