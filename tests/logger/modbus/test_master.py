"""A plan of registers is read in few questions; what cannot be read is null and counted, and never hides the others."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.modbus.frames import BUSY, ILLEGAL_ADDRESS, Function
from logger.modbus.links import Refused, TimedOut
from logger.modbus.master import DeviceSilent, Master
from logger.modbus.plan import blocks

TABLE_OF = {
    Function.READ_COILS: "coil",
    Function.READ_DISCRETE_INPUTS: "discrete",
    Function.READ_HOLDING_REGISTERS: "holding",
    Function.READ_INPUT_REGISTERS: "input",
}


class Device:
    """A link to a device with holes. `moods`: what the next questions get instead of an answer."""

    def __init__(self, holes=(), moods=(), silent=()):
        self.holes, self.moods, self.silent = set(holes), list(moods), set(silent)
        self.now_s, self.asked = 0.0, []

    def ask(self, request, timeout_s, count):
        self.asked.append((request.address, request.count))
        span = range(request.address, request.address + request.count)
        mood = self.moods.pop(0) if self.moods else None
        if mood is not None:
            if isinstance(mood, TimedOut):
                self.now_s += timeout_s
                count("timeout")
            raise mood
        if self.silent & set(span):
            self.now_s += timeout_s
            count("timeout")
            raise TimedOut(f"no answer within {timeout_s:.2g} s")
        if self.holes & set(span):
            raise Refused(ILLEGAL_ADDRESS)
        self.now_s += 0.01
        if request.is_bits():
            bits = sum(1 << place for place, address in enumerate(span) if address % 3 == 0)
            return bits.to_bytes((request.count + 7) // 8, "little")
        return b"".join(address.to_bytes(2, "big") for address in span)

    def close(self):
        pass


def master(device, spots, **settings):
    return Master(device, 1, spots, now=lambda: device.now_s, sleep=lambda _: None, **settings)


def inputs(*addresses):
    return [("input", address, 1) for address in addresses]


def test_neighbours_are_asked_for_together_and_gaps_read_along():
    device = Device()
    raw = master(device, inputs(0, 1, 2, 10, 50), gap_max=8).read(99)
    assert raw == {("input", one, 1): [one] for one in (0, 1, 2, 10, 50)}
    assert device.asked == [(0, 11), (50, 1)]


def test_one_hole_costs_one_register_and_is_learnt():
    device = Device(holes=[5])
    reader = master(device, inputs(*range(10)))
    raw = reader.read(99)
    assert raw[("input", 5, 1)] is None
    assert [one for one in range(10) if raw[("input", one, 1)] == [one]] == [0, 1, 2, 3, 4, 6, 7, 8, 9]
    assert reader.counts == {"refused": 1, "unread": 1}
    first = len(device.asked)
    assert reader.read(99) == raw
    assert len(device.asked) - first < first, "the next turn starts with the halves that worked"


def test_a_hole_in_a_gap_is_gone_around():
    device = Device(holes=[3, 4])
    reader = master(device, inputs(0, 1, 2, 5, 6), gap_max=8)
    assert None not in reader.read(99).values()
    device.asked.clear()
    assert None not in reader.read(99).values()
    assert device.asked == [(0, 3), (5, 2)], "cut where the gap is"


def test_a_time_out_is_asked_again():
    device = Device(moods=[TimedOut("no answer")])
    reader = master(device, inputs(1), retries=1)
    assert reader.read(99) == {("input", 1, 1): [1]}
    assert reader.counts == {"timeout": 1}


def test_busy_is_asked_again_and_then_null():
    device = Device(moods=[Refused(BUSY), Refused(BUSY)])
    reader = master(device, inputs(1, 50), retries=1)
    assert reader.read(99) == {("input", 1, 1): None, ("input", 50, 1): [50]}
    assert reader.counts == {"busy": 1, "refused": 1, "unread": 1}


def test_a_block_that_stays_silent_does_not_hide_the_others():
    device = Device(silent=[50])
    raw = master(device, inputs(1, 50, 100)).read(99)
    assert raw == {("input", 1, 1): [1], ("input", 50, 1): None, ("input", 100, 1): [100]}


def test_a_silent_device_is_given_up_soon():
    device = Device(silent=range(1000))
    reader = master(device, inputs(1, 50, 100, 150, 200), timeout_s=1.0, retries=0)
    with pytest.raises(DeviceSilent, match="unit 1: no answer within 1 s"):
        reader.read(99)
    assert len(device.asked) == 2
    assert reader.counts == {"timeout": 2, "unread": 5}


def test_the_deadline_is_kept():
    device = Device(silent=[100])
    reader = master(device, inputs(1, 50, 100, 150), timeout_s=5.0, retries=3)
    raw = reader.read(2.0)
    assert device.now_s <= 2.0 + 1e-9
    assert raw[("input", 1, 1)] == [1]
    assert raw[("input", 150, 1)] is None


def test_bits_and_values_of_several_registers():
    device = Device()
    raw = master(device, [("coil", 3, 1), ("coil", 4, 1), ("holding", 10, 4), ("holding", 14, 2)]).read(99)
    assert raw == {
        ("coil", 3, 1): [1],
        ("coil", 4, 1): [0],
        ("holding", 10, 4): [10, 11, 12, 13],
        ("holding", 14, 2): [14, 15],
    }


SPOTS = st.lists(
    st.tuples(
        st.sampled_from(["coil", "discrete", "holding", "input"]), st.integers(0, 3000), st.sampled_from([1, 2, 4])
    ),
    min_size=1,
).map(
    lambda spots: sorted(
        {(table, address, 1 if table in ("coil", "discrete") else width) for table, address, width in spots}
    )
)


@given(SPOTS, st.integers(4, 125), st.integers(0, 50))
def test_every_plan_covers_every_value_whole_and_keeps_the_limits(spots, longest, gap):
    made = blocks(spots, longest, gap)
    assert sorted(spot for block in made for spot in block.spots) == spots
    for block in made:
        block.request(1)  # within the standard's limits, or ValueError
        assert block.count <= longest * (16 if block.table in ("coil", "discrete") else 1)
        for table, address, width in block.spots:
            assert table == block.table
            assert block.address <= address
            assert address + width <= block.address + block.count


@given(SPOTS, st.sets(st.integers(0, 3004), max_size=30))
def test_whatever_the_holes_only_their_values_are_null(spots, holes):
    device = Device(holes=holes)
    try:
        raw = master(device, spots, registers_per_read=125).read(1e9)
    except DeviceSilent:
        raw = dict.fromkeys(spots)
    for spot in spots:
        is_hit = bool(holes & set(range(spot[1], spot[1] + spot[2])))
        assert (raw[spot] is None) == is_hit, spot
