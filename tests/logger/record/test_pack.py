"""The pack: exact at each channel's step, small, and refusing whatever it does not know."""

import contextlib
import json
import math
import random
import tracemalloc
import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.record import pack as packing
from logger.record.channels import CHANNELS, EXTREMES
from logger.record.pack import PLACES, ROWS_MAX, PackError, pack, unpack
from logger.record.reading import CLOCKS, Reading

GOLDEN = Path(__file__).parent / "golden_pack_version_1.json"
NAMES = [name + end for name in CHANNELS for end in ("", *EXTREMES)]


@st.composite
def readings(draw):
    values = st.dictionaries(
        st.sampled_from(NAMES), st.one_of(st.none(), st.floats(-1e6, 1e6), st.integers(-1000, 10**9)), max_size=6
    )
    boots = st.one_of(st.none(), st.sampled_from(["000001-0123abcd", "000002-89abcdef"]))
    one = st.builds(
        lambda time_ms, values, boot, seq, clock: Reading("site-a", time_ms, values, boot, seq if boot else None, clock),
        st.integers(0, 2**45), values, boots, st.integers(1, 2**40), st.sampled_from(CLOCKS),
    )  # fmt: skip
    return draw(st.lists(one, min_size=1, max_size=12))


def step_of(name: str) -> float:
    """The channel's step."""
    return CHANNELS[name.removesuffix("_min").removesuffix("_max")].step


def stepped(name: str, value: float | None) -> float | None:
    """The value as the channel's step keeps it, worked out another way: decimal text."""
    decimals = max(0, -round(math.log10(CHANNELS[name.removesuffix("_min").removesuffix("_max")].step)))
    return None if value is None else float(f"{value:.{decimals}f}")


@given(readings())
def test_what_comes_back_is_what_went_in_at_the_channels_step(given_readings):
    back = unpack(pack(given_readings))
    assert len(back) == len(given_readings)
    for before, after in zip(given_readings, back, strict=True):
        assert set(after.values) == set(before.values)
        for name, value in before.values.items():
            got = after.values[name]
            assert got == stepped(name, got), "at a step"
            if value is None or got is None:
                assert got is value
            else:  # 0.05 V lies between two steps and may become either
                assert abs(got - value) <= 0.5 * step_of(name) * (1 + 1e-9) + 1e-15 * abs(value)
        assert replace(after, values=before.values) == before


@given(readings())
def test_packing_again_changes_nothing(given_readings):
    once = unpack(pack(given_readings))
    assert unpack(pack(once)) == once


def test_null_is_not_absent():
    back = unpack(
        pack([Reading("a", 1, {"pv_voltage_v": None}), Reading("a", 2, {}), Reading("a", 3, {"pv_voltage_v": 0})])
    )
    assert [reading.values for reading in back] == [{"pv_voltage_v": None}, {}, {"pv_voltage_v": 0.0}]


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e300])
def test_what_no_channel_can_say_becomes_null(value):
    assert unpack(pack([Reading("a", 1, {"flow_m3_h": value})]))[0].values == {"flow_m3_h": None}


def test_the_largest_honest_values_keep_their_step():
    values = {name: channel.highest - channel.step for name, channel in CHANNELS.items() if channel.kind != "flag"}
    back = unpack(pack([Reading("a", 1, values)]))[0].values
    for name, value in values.items():
        assert back[name] == pytest.approx(value, abs=CHANNELS[name].step / 1000), name


def test_steps_and_places_agree_with_the_channels():
    assert {name for name, _ in PLACES} == set(CHANNELS), "a new channel takes the next place at the end of PLACES"
    for name, decimals in PLACES:
        assert CHANNELS[name].step == pytest.approx(10**-decimals), name


def test_a_pack_written_by_version_1_still_loads():
    golden = json.loads(GOLDEN.read_text())
    for case in golden:
        expected = [Reading(**reading) for reading in case["readings"]]
        assert unpack(bytes.fromhex(case["bytes"])) == expected, case["what"]


def noisy_day(seed: int) -> list[Reading]:
    """A minute a row: clouds, sensor noise, ten channels; nothing of it is smooth."""
    rand = random.Random(seed)
    rows, cloud, volume = [], 1.0, 1234.5
    for minute in range(1440):
        sun = max(0.0, math.sin(math.pi * (minute / 60 - 6) / 12))
        cloud = min(1.0, max(0.15, cloud + rand.gauss(0, 0.08)))
        power = min(2000.0, 1900 * sun * cloud)
        runs = power > 200
        speed = 800 + 1.1 * power + rand.gauss(0, 8) if runs else 0.0
        flow = speed * 0.0017 * (1 + rand.gauss(0, 0.01))
        volume += flow / 60
        values = {
            "pv_voltage_v": 225 - power * 0.004 + rand.gauss(0, 1) if sun > 0 else abs(rand.gauss(0.3, 0.1)),
            "pv_current_a": power / 225 + rand.gauss(0, 0.03),
            "motor_current_a": 2 + power / 300 + rand.gauss(0, 0.03) if runs else 0.0,
            "motor_speed_rpm": speed,
            "volume_m3": math.floor(volume * 100) / 100,
            "discharge_pressure_bar": 0.9 + flow * 0.02 + rand.gauss(0, 0.01),
            "irradiance_w_m2": 1000 * sun * cloud + rand.gauss(0, 2),
            "controller_temp_c": 20 + power / 100 + rand.gauss(0, 0.1),
            "water_level_m": 38 + 1.6 * flow + rand.gauss(0, 0.02),
            "input_power_w": power + rand.gauss(0, 5) if runs else 3.0,
        }
        rows.append(
            Reading("north-kraal", 1_780_000_000_000 + minute * 60_000, values, "000012-8f3a9c01", 4000 + minute)
        )
    return rows


def test_an_hours_batch_leaves_room_in_the_months_budget():
    """1.5 MB a month for 43,200 readings is 34.7 bytes each, with everything that TCP, TLS and MQTT add."""
    day = noisy_day(random.SystemRandom().randrange(10**6))
    batches = [pack(day[start : start + 60]) for start in range(0, 1440, 60)]
    plain = len(json.dumps([[reading.time_ms, reading.values] for reading in day]))
    assert sum(map(len, batches)) / 1440 < 10
    assert sum(map(len, batches)) * 20 < plain


@pytest.mark.parametrize(
    ("readings_", "said"),
    [
        ([], "a pack holds 1 to 4096 readings, not 0"),
        ([Reading("a", 1)] * (ROWS_MAX + 1), "not 4097"),
        ([Reading("a", 1), Reading("b", 2)], "a pack speaks of one site: 'a' and 'b'"),
        ([Reading("a", -1)], "time out of range: -1 ms"),
        ([Reading("a", 1, {"pressure": 1.0})], "no such channel in a pack: 'pressure'"),
        ([Reading("a" * 49, 1)], "at most 48 bytes"),
        ([Reading("a", 1, boot="b", seq=-1)], "sequence out of range: -1"),
    ],
)
def test_readings_that_no_pack_can_hold_are_refused(readings_, said):
    with pytest.raises(PackError, match=said):
        pack(readings_)


GOOD = pack(
    [
        Reading("a", 1000 * row, {"pv_voltage_v": row / 10, "flow_m3_h": None}, "000001-0123abcd", row + 1)
        for row in range(20)
    ]
)


def enclosed(body: bytes, version: int = 1, flags: int = 0) -> bytes:
    """A body in a pack whose CRC fits."""
    head = bytes([version, flags])
    return b"WHP" + head + zlib.crc32(head + body).to_bytes(4, "big") + body


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "not a pack"),
        (b"WHP", "cut short"),
        (GOOD[:-1], "damaged"),
        (GOOD + b"x", "damaged"),
        (GOOD[:3] + b"\x02" + GOOD[4:], r"a pack of version 2, flags \d: this program reads version 1"),
        (GOOD[:4] + b"\x02" + GOOD[5:], "a pack of version 1, flags 2"),
        (enclosed(b"\x01a\x00"), "a pack without readings"),
        (enclosed(b"\x01a" + b"\xff" * 11), "a number without an end"),
        (enclosed(b"\x01a\xff\x7f"), "number too large"),
        (enclosed(b"\x02\xff\xfe\x01"), "not UTF-8"),
        (enclosed(b"\x01a\x01\x00" + b"\xe0"), "a column of an unknown kind"),
        (enclosed(b"\x01a\x01\x00" + b"\x03"), "a column beside one that is not there"),
    ],
)
def test_bytes_that_are_no_pack_are_refused_with_a_reason(data, said):
    with pytest.raises(PackError, match=said):
        unpack(data)


def test_bytes_behind_the_last_column_are_refused():
    body = zlib.decompressobj(-15).decompress(GOOD[9:]) if GOOD[4] else GOOD[9:]
    assert unpack(enclosed(body)) == unpack(GOOD)
    with pytest.raises(PackError, match="1 bytes left over"):
        unpack(enclosed(body + b"x"))


def test_a_bomb_is_not_unfolded():
    """Only BODY_BYTES_MAX bytes are ever unfolded, of 50 million here."""
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    bomb = enclosed(squeeze.compress(b"\0" * 50_000_000) + squeeze.flush(), flags=1)
    tracemalloc.start()
    with pytest.raises(PackError, match="unfolds to more than"):
        unpack(bomb)
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak_bytes < 3 * packing.BODY_BYTES_MAX


@settings(max_examples=300)
@given(st.binary(max_size=200))
def test_any_body_with_a_right_crc_is_read_or_refused(body):
    with contextlib.suppress(PackError):
        unpack(enclosed(b"\x01a" + body))


@settings(max_examples=300)
@given(st.data())
def test_any_change_to_a_body_is_read_or_refused(data):
    """The CRC made to fit again, so that what lies behind it is tried too."""
    body = bytearray(GOOD[9:])
    for _ in range(data.draw(st.integers(1, 4))):
        body[data.draw(st.integers(0, len(body) - 1))] = data.draw(st.integers(0, 255))
    with contextlib.suppress(PackError):
        unpack(enclosed(bytes(body), flags=GOOD[4]))


def test_every_single_bit_error_is_noticed():
    for place in range(8 * len(GOOD)):
        damaged = bytearray(GOOD)
        damaged[place // 8] ^= 1 << place % 8
        with pytest.raises(PackError):
            unpack(bytes(damaged))


def test_columns_choose_what_is_shortest():
    """A constant column costs a few bytes however many rows there are."""
    rows = [Reading("a", 60_000 * row, {"tank_level_m": 1.5}) for row in range(4000)]
    assert len(pack(rows)) < 60
    assert packing.VERSION == 1, "a new version needs a golden file of its own beside the old one"
