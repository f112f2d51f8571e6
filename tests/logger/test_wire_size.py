"""An hour of ten channels stays small: the measured month (tests/bench/bench_wire.py) rests on it."""

import pytest

from logger.record.pack import pack
from logger.record.reading import Reading
from logger.settings_tables import METERED
from tests.bench.bench_wire import DAY_MINUTES, EPOCH_MS, busy_day, changes, day


@pytest.mark.parametrize("seed", [7, 8, 2026])
def test_an_hourly_pack_of_a_cloudy_day_is_small_on_average(seed: int):
    """1.5 MB a month leaves 2083 bytes an hour; TCP, TLS, MQTT, `stored`, pings and health take some 900 of them (captured)."""
    rows = [
        Reading("north-kraal", EPOCH_MS + 60_000 * minute, values, "000001-0000abcd", minute + 2)
        for minute, values in enumerate(day(seed))
    ]
    hours = [pack(rows[start : start + 60]) for start in range(0, len(rows), 60)]
    assert sum(map(len, hours)) / len(hours) < 1000
    assert max(map(len, hours)) < 1350, "one packet of a mobile link"


@pytest.mark.parametrize("seed", [1, 7, 2026])
def test_a_busy_day_has_more_changes_than_go_at_once(seed: int) -> None:
    """Counted from the rows themselves: of a calm day (seeds 1 and 7) fewer go, and clouds had to be broken more."""
    most = METERED["mqtt"]["at_once_per_day"]

    def rises_and_falls(values: list[dict[str, float | None]]) -> int:
        states = [
            tuple(row[name] for name in ("low_level_probe_wet", "tank_float_up", "motor_running")) for row in values
        ]
        return sum(now != before for before, now in zip(states, states[1:], strict=False))

    calm, busy = day(seed), busy_day(seed, most)
    assert rises_and_falls(busy) > most
    assert (rises_and_falls(calm) > most) == (calm == busy)
    for values in (calm, busy):
        assert sum(changes(values, minute) for minute in range(DAY_MINUTES)) == rises_and_falls(values)
