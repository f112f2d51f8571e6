"""An invented farm of four pumps in a store, at a fixed instant, for the tests of the pages."""

import functools
import hashlib
import shutil
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.rows import Rows
from analysis.store import Store, open_store
from analysis.store.findings import put_findings
from analysis.store.summaries import put_days, put_now
from analysis.summary import DaySummary, SiteNow
from logger.record.finding import Finding, Rival, Size

NOW_MS = 1_773_144_000_000  # 2026-03-10T12:00:00Z, 14:00 at the sites
MINUTE_MS = 60_000
PASSWORD = "drie blou emmers"
HOME = tempfile.TemporaryDirectory(prefix="wellhand-scene-")
"""Goes with the process."""
SALT = bytes(16)
CHEAP = {"n": 16, "r": 1, "p": 1}
"""Far too weak for a real password; the hash names its own cost, so sign-ins in tests take no time."""
HASH = "$".join(
    ["scrypt", *map(str, CHEAP.values()), SALT.hex(), hashlib.scrypt(PASSWORD.encode(), salt=SALT, **CHEAP).hex()]
)

SITE_TEXT = """
[site]
id = "{id}"
name = "{name}"
latitude_deg = -30.72
longitude_deg = 24.01
altitude_m = 1180
timezone = "Africa/Johannesburg"
[array]
modules_in_series = 6
strings = 2
tilt_deg = 30
azimuth_deg = 0
[array.module]
p_mp_w = 170
v_mp_v = 37.4
i_mp_a = 4.55
v_oc_v = 45.8
i_sc_a = 4.82
temp_coeff_p_mp_pct_c = -0.38
temp_coeff_v_oc_pct_c = -0.30
temp_coeff_i_sc_pct_c = 0.05
noct_c = 45
[controller]
max_input_voltage_v = 400
min_input_voltage_v = 120
max_power_w = 2200
start_delay_s = 30
low_level_hold_min = 30
speed_limit_pct = 100
[cable]
length_m = 95
conductor_mm2 = 4
[motor]
kind = "permanent-magnet"
rated_current_a = 8.0
rated_speed_rpm = 3000
[pump]
kind = "helical-rotor"
setting_depth_m = 80
curve_power_at = "controller-input"
curve = [
  {{ head_m = 40, power_w = 333, flow_m3_h = 1.26, speed_rpm = 800 }},
  {{ head_m = 40, power_w = 1159, flow_m3_h = 5.04, speed_rpm = 2900 }},
  {{ head_m = 60, power_w = 466, flow_m3_h = 1.17, speed_rpm = 800 }},
  {{ head_m = 60, power_w = 1518, flow_m3_h = 4.95, speed_rpm = 2900 }},
]
[well]
static_level_m = 38.0
drawdown_linear_m_per_m3_h = 1.6
drawdown_quadratic_m_per_m3_h2 = 0.05
tested_yield_m3_h = 5.0
probe_depth_m = 78.5
[delivery]
riser_length_m = 80
riser_inner_diameter_mm = 40
pipe_length_m = 120
pipe_inner_diameter_mm = 50
roughness_mm = 0.01
minor_loss_coefficient = 6.0
outlet_height_m = 8.0
[tank]
capacity_m3 = 20
[sensors]
channels = ["input_power_w", "flow_m3_h", "motor_running", "irradiance_w_m2"]
"""

SITES = {
    "doring-dam": "Doring dam",
    "klip-fontein": "Klipfontein",
    "lang-vlei": "Langvlei",
    "witpad": "Witpad",
}

DRY = Finding(
    id="klip-fontein-20260310T1140Z-1",
    cause="dry-running",
    first_cause="dry-running",
    began="2026-03-10T11:37:00Z",
    flagged="2026-03-10T11:40:00Z",
    confidence=0.97,
    evidence="Flow fell to 0.1 m3/h at 1140 W where 4.0 (3.8 to 4.3) is expected, and torque to 31 % of what this head needs.",
    check="Isolate the pump, then dip the water level and compare it with the pump's setting of 80 m.",
    also_possible=(Rival("broken-shaft", 0.02),),
    size=Size("duration", 0.38, 0.35, 0.38, "h"),
    water_lost_m3=1.4,
)
DIRTY = Finding(
    id="lang-vlei-20260228T1800Z-1",
    revision=4,
    cause="panel-soiling",
    first_cause="panel-soiling",
    began="2026-02-20T00:00:00Z",
    flagged="2026-02-28T18:00:00Z",
    confidence=0.82,
    evidence="Power at full sun fell by 0.6 % a day over 18 days to 12 % (9 to 15 %) below what was learnt.",
    check="Compare one washed panel's short-circuit current with its neighbours', by a licensed person.",
    also_possible=(Rival("shading", 0.09),),
    size=Size("array power lost", 0.12, 0.09, 0.15, "fraction"),
    water_lost_m3=41.2,
)
OVER = replace(
    DIRTY, id="lang-vlei-20251109T1800Z-1", began="2025-11-03T00:00:00Z", flagged="2025-11-09T18:00:00Z",
    ended="2025-12-02T00:00:00Z", revision=1,
)  # fmt: skip


def now_of(site: str, **changed) -> SiteNow:
    """A pump that runs as it should."""
    usual = SiteNow(
        site=site,
        time_ms=NOW_MS,
        last_heard_ms=NOW_MS - MINUTE_MS,
        doing="pumping",
        water_today_m3=17.4,
        expected_today_m3=17.9,
        expected_low_m3=16.6,
        expected_high_m3=19.2,
        flow_m3_h=4.1,
        expected_flow_m3_h=4.2,
        input_power_w=1180.0,
        tank_float_up=False,
    )
    return replace(usual, **changed)


@dataclass
class Scene:
    """A store and how to change it as the analysis would."""

    store: Store

    def put(
        self, site: str, *findings: Finding, now: SiteNow | None = None, days: list[DaySummary] | None = None
    ) -> None:
        """One turn's results."""
        with self.store.changing(site) as (connection, number):
            put_findings(connection, number, findings)
            if now is not None:
                put_now(connection, number, now)
            put_days(connection, number, days or [])


def days_of(site: str, expected_m3: float = 24.0, share: float = 1.0) -> list[DaySummary]:
    """February and the first days of March, 2026; from the 20th of February on `share` of the water."""
    dates = [f"2026-02-{day:02d}" for day in range(8, 29)] + [f"2026-03-{day:02d}" for day in range(1, 10)]
    made = []
    for place, day in enumerate(dates):
        expected = expected_m3 * (1 - 0.25 * (place % 7 == 3))
        water = expected * (share if day >= "2026-02-20" else 0.99)
        lost = {"panel-soiling": expected - water} if share < 1 and day >= "2026-02-20" else {}
        made.append(
            DaySummary(
                site, day, water, expected, 0.93 * expected, 1.07 * expected, 8.5, 9.7, 9800.0, 6900.0, 0.99, lost
            )
        )
    return made


def rows_until(until_ms: int, minutes: int, share_of_flow: float = 1.0) -> Rows:
    """One-minute rows of input power and flow, up to but without `until_ms`."""
    time_ms = until_ms - MINUTE_MS * np.arange(minutes, 0, -1, dtype=np.int64)
    power = 750 + 400 * np.sin(np.arange(minutes) / 40)
    flow = share_of_flow * (power - 150) / 250
    return Rows(time_ms, {"input_power_w": power, "flow_m3_h": flow, "motor_running": np.ones(minutes)})


def make(folder: Path) -> Scene:
    """The farm in a store of its own in `folder`."""
    shutil.copy(_built(), folder / "pages.db")
    return Scene(open_store(f"sqlite:///{folder / 'pages.db'}"))


@functools.cache
def _built() -> Path:
    """A database with the farm in it, made once: one running dry, one with dirty panels, one well, one not heard for
    five hours."""
    file = Path(HOME.name) / "pages.db"
    store = open_store(f"sqlite:///{file}")
    for site_id, name in SITES.items():
        store.put_site(SITE_TEXT.format(id=site_id, name=name))
    store.load_history("klip-fontein", rows_until(NOW_MS - 23 * MINUTE_MS, 1440))
    store.load_history("klip-fontein", rows_until(NOW_MS, 23, 0.03))
    scene = Scene(store)
    scene.put("doring-dam", now=now_of("doring-dam"), days=days_of("doring-dam"))
    scene.put("klip-fontein", DRY, now=now_of("klip-fontein", flow_m3_h=0.1), days=days_of("klip-fontein"))
    scene.put(
        "lang-vlei", DIRTY, OVER, days=days_of("lang-vlei", share=0.86),
        now=now_of("lang-vlei", water_today_m3=14.9, tank_float_up=True, doing="tank-full"),
    )  # fmt: skip
    scene.put("witpad", now=now_of("witpad", time_ms=NOW_MS, last_heard_ms=NOW_MS - 300 * MINUTE_MS, doing="silent"))
    store.put_user("ansie", HASH, "service", None)
    store.put_user("boer", HASH, "farmer", ["klip-fontein"])
    store.put_user("twee", HASH, "farmer", ["doring-dam", "witpad"])
    store.close()  # the last connection folds the write-ahead log into the file
    return file
