"""SenML against the examples of RFC 8428, and our channels through it and back, exactly."""

import json
import math

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.record import cbor
from logger.record.channels import CHANNELS
from logger.record.pack import pack, unpack
from logger.record.reading import CLOCKS, Reading
from logger.record.senml import SenmlError, from_cbor, from_json, to_cbor, to_json
from logger.record.senml_records import LABEL_OF, resolved
from logger.record.senml_records import SenmlError as RecordError

NOW_S = 1_800_000_000.0

# RFC 8428 section 5.1.3, "Multiple Measurements": values and resolved times.
MULTIPLE = [
    {
        "bn": "urn:dev:ow:10e2073a0108006:",
        "bt": 1.276020076001e9,
        "bu": "A",
        "bver": 5,
        "n": "voltage",
        "u": "V",
        "v": 120.1,
    },
    *[{"n": "current", "t": t, "v": v} for t, v in ((-5, 1.2), (-4, 1.3), (-3, 1.4), (-2, 1.5), (-1, 1.6))],
    {"n": "current", "v": 1.7},
]
RESOLVED = [
    ("voltage", "V", 1276020076.001, 120.1),
    ("current", "A", 1276020071.001, 1.2),
    ("current", "A", 1276020072.001, 1.3),
    ("current", "A", 1276020073.001, 1.4),
    ("current", "A", 1276020074.001, 1.5),
    ("current", "A", 1276020075.001, 1.6),
    ("current", "A", 1276020076.001, 1.7),
]
# The same pack in CBOR, 195 bytes: RFC 8428 section 6, figure of the binary form (written down from memory, checked by cbor2 below).
MULTIPLE_CBOR = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c746167650161"
    "5602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccccda300"
    "6763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff99999999999"
    "9aa3006763757272656e74060002fb3ffb333333333333"
)


def seen(records):
    return [(one.name.rpartition(":")[2], one.unit, pytest.approx(one.time_s, abs=1e-6), one.value) for one in records]


def test_multiple_measurements_of_the_standard_resolve():
    assert seen(resolved(MULTIPLE, NOW_S)) == RESOLVED


def test_the_standards_cbor_example_decodes_to_the_same():
    assert len(MULTIPLE_CBOR) == 195
    ours = cbor.loads(MULTIPLE_CBOR)
    assert ours == cbor2.loads(MULTIPLE_CBOR), "a decoder that we did not write reads the same"
    assert seen(resolved(ours, NOW_S)) == RESOLVED


def test_collection_of_values_of_the_standard():
    """RFC 8428 section 5.1.4, "Resolved Data" of the humidity and battery example."""
    pack_ = [
        {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1320067464, "bu": "%RH", "v": 20},
        {"v": 20.3, "t": 60},
        {"v": 20.7, "t": 120},
        {"v": 98, "u": "%EL", "t": 150},
        {"v": 21.2, "t": 180},
    ]
    found = [(one.unit, one.time_s, one.value) for one in resolved(pack_, NOW_S)]
    assert found == [
        ("%RH", 1320067464.0, 20.0),
        ("%RH", 1320067524.0, 20.3),
        ("%RH", 1320067584.0, 20.7),
        ("%EL", 1320067614.0, 98.0),
        ("%RH", 1320067644.0, 21.2),
    ]


def test_labels_are_those_of_the_standard():
    """RFC 8428 section 6, table 4."""
    assert LABEL_OF == {
        "bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6,
        "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("given_s", "resolved_s"),
    [
        (0, NOW_S),
        (-10, NOW_S - 10),
        (2**28 - 1, NOW_S + 2**28 - 1),
        (2**28, 2.0**28),
        (1.7e9, 1.7e9),
    ],
)
def test_times_below_two_to_the_28_count_from_now(given_s, resolved_s):
    """RFC 8428 section 4.5.3."""
    assert resolved([{"n": "a", "v": 1, "t": given_s}], NOW_S)[0].time_s == resolved_s
    assert resolved([{"bt": given_s, "n": "a", "v": 1}], NOW_S)[0].time_s == resolved_s


def test_base_value_sum_data_and_update_time():
    records = resolved(
        [
            {"bn": "a", "bv": 20, "bs": 100, "n": "1", "v": 0.5, "s": 3, "ut": 60},
            {"n": "2"},
            {"n": "3", "vs": "open"},
            {"n": "4", "vb": True},
            {"n": "5", "vd": "aGkgCg"},
        ],
        NOW_S,
    )
    assert [(one.value, one.sum) for one in records] == [
        (20.5, 103.0), (20.0, 100.0), ("open", 100.0), (True, 100.0), (b"hi \n", 100.0),
    ]  # fmt: skip
    assert records[0].update_s == 60


@pytest.mark.parametrize(
    ("records", "said"),
    [
        ({}, "not a list"),
        ([], "0 records"),
        ([3], "record 1 is not an object"),
        ([{"n": "a", "v": 1, "bver": 11}], "record 1 is of version 11; up to 10 is read"),
        ([{"n": "a", "v": 1, "bver": True}], "'bver' of the wrong kind"),
        ([{"n": "a", "v": 1, "x_": 1}], "'x_', which must be understood"),
        ([{"n": "a", "v": 1, "vs": "b"}], "more than one value"),
        ([{"n": "a"}], "neither a value nor a sum"),
        ([{"v": 1}], "no usable name: ''"),
        ([{"n": "-a", "v": 1}], "no usable name"),
        ([{"n": "a b", "v": 1}], "no usable name"),
        ([{"n": "a", "v": "1"}], "'v' of the wrong kind"),
        ([{"n": "a", "v": True}], "'v' of the wrong kind"),
        ([{"n": "a", "v": 10**400}], "'v' of the wrong kind"),
        ([{"n": "a", "v": math.nan}], "'v' of the wrong kind"),
        ([{"n": 3, "v": 1}], "'n' of the wrong kind"),
        ([{"n": "a", "vb": 1}], "'vb' of the wrong kind"),
        ([{"n": "a", "vd": "a+b="}], "'vd' is not base64url"),
    ],
)
def test_what_breaks_the_standard_is_refused(records, said):
    with pytest.raises(RecordError, match=said):
        resolved(records, NOW_S)


def test_unknown_fields_are_ignored_unless_they_must_be_understood():
    assert resolved([{"n": "a", "v": 1, "colour": "blue", 99: 3}], NOW_S)[0].value == 1.0


# --- our channels ---------------------------------------------------------------------------------------------------


@st.composite
def our_readings(draw):
    name = draw(st.sampled_from(sorted(CHANNELS)))
    channel = CHANNELS[name]
    value = draw(st.one_of(st.none(), st.floats(channel.lowest, channel.highest)))
    time_ms = draw(st.one_of(st.integers(0, 2**28 * 1000), st.integers(2**28 * 1000, 4_102_444_800_000)))
    return Reading(
        "site-a", time_ms, {name: value}, "000001-0123abcd", draw(st.integers(1, 2**40)), draw(st.sampled_from(CLOCKS))
    )


@given(st.lists(our_readings(), min_size=1, max_size=5))
def test_both_forms_give_exactly_what_the_pack_gives(readings):
    expected = unpack(pack(readings))
    assert from_json(to_json(readings), NOW_S) == expected
    assert from_cbor(to_cbor(readings), NOW_S) == expected
    assert cbor2.loads(to_cbor(readings)) == cbor.loads(to_cbor(readings))


@pytest.mark.parametrize(
    ("name", "value", "unit", "senml"),
    [
        ("flow_m3_h", 3.6, "m3/s", 0.001),
        ("discharge_pressure_bar", 1.5, "Pa", 150000),
        ("speed_setting_pct", 85.0, "/", 0.85),
        ("motor_speed_rpm", -1500.0, "1/min", -1500),
        ("module_temp_c", -4.5, "Cel", -4.5),
    ],
)
def test_units_are_those_of_the_registry(name, value, unit, senml):
    """Unit names and meanings: RFC 8428 section 12.1."""
    record = json.loads(to_json([Reading("a", 1_700_000_000_000, {name: value})]))[-1]
    assert (record["n"], record["u"], record["v"]) == (name, unit, senml)


def test_unreadable_instants_without_values_and_two_sites():
    readings = [
        Reading("a", 1_700_000_000_000, {"pv_voltage_v": None}, "000001-0123abcd", 1, "repaired"),
        Reading("a", 1_700_000_000_000, {}, "000001-0123abcd", 2, "unsure"),
        Reading("b", 1_700_000_000_000, {"tank_float_up": 1.0}),
    ]
    assert from_json(to_json(readings)) == readings
    assert from_cbor(to_cbor(readings)) == readings


def test_another_program_may_say_flags_as_booleans_and_leave_our_extras_out():
    said = b'[{"bn":"wellhand/a/","bt":1700000000,"n":"tank_float_up","vb":true},{"n":"pv_voltage_v","u":"V","v":1}]'
    assert from_json(said) == [Reading("a", 1_700_000_000_000, {"tank_float_up": 1.0, "pv_voltage_v": 1.0})]


@pytest.mark.parametrize(
    ("record", "said"),
    [
        ('"n":"urn:dev:ow:1","v":1', "not a name of ours: 'urn:dev:ow:1'"),
        ('"n":"wellhand/a","v":1', "not a name of ours"),
        ('"n":"wellhand/a/b/c","v":1', "not a name of ours"),
        ('"n":"wellhand/a/pressure","v":1', "no such channel: 'pressure'"),
        ('"n":"wellhand/a/pv_voltage_v","v":1,"u":"mV"', "unit 'V' was expected, not 'mV'"),
        ('"n":"wellhand/a/pv_voltage_v","v":1', "unit 'V' was expected, not None"),
        ('"n":"wellhand/a/pv_voltage_v","vs":"high"', "a number was expected"),
        ('"n":"wellhand/a/pv_voltage_v","s":1,"u":"V"', "a number was expected"),
        ('"n":"wellhand/a/clock","vs":"fine"', "'clock' of the wrong kind"),
        ('"n":"wellhand/a/seq","v":1.5', "'seq' of the wrong kind"),
        ('"n":"wellhand/a/seq","v":NaN', "not JSON"),
        ('"n":"wellhand/a/pv_voltage_v","v":1,"u":"V","t":1e300', "time out of range"),
    ],
)
def test_what_is_not_ours_is_refused(record, said):
    with pytest.raises(SenmlError, match=said):
        from_json(f"[{{{record}}}]".encode(), NOW_S)


def test_nothing_to_send_is_an_error():
    with pytest.raises(SenmlError, match="a pack without readings"):
        to_json([])
    with pytest.raises(SenmlError, match="no such channel: 'x'"):
        to_cbor([Reading("a", 1, {"x": 1.0})])
