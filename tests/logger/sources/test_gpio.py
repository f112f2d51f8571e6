"""Pins through a stand-in with the names of libgpiod's Python package, version 2.5 (checked against it by hand, on no real chip)."""

import enum
import sys
import types

import pytest

from logger.sources.contacts import Contact, ContactsSettings, Pulse
from logger.sources.gpio import open_pins


class Direction(enum.Enum):
    INPUT = 1


class Edge(enum.Enum):
    NONE = 0
    RISING = 1


class Bias(enum.Enum):
    DISABLED = 0
    PULL_UP = 1
    PULL_DOWN = 2


class Value(enum.Enum):
    INACTIVE = 0
    ACTIVE = 1


class Request:
    """A request of lines: levels, and edge events with the kernel's count of each line."""

    def __init__(self):
        self.levels, self.events, self.released = {}, [], False

    def get_value(self, line):
        return self.levels.get(line, Value.INACTIVE)

    def wait_edge_events(self, _timeout):
        return bool(self.events)

    def read_edge_events(self):
        events, self.events = self.events, []
        return [types.SimpleNamespace(line_offset=line, line_seqno=number) for line, number in events]

    def release(self):
        self.released = True


SETTINGS = ContactsSettings(
    "pins",
    contacts=(Contact(17, "tank_float_up"), Contact(18, "low_level_probe_wet", pull="down", debounce_ms=20)),
    pulses=(Pulse(27, "volume_m3"), Pulse(22, "volume_m3", pull="none")),
)


@pytest.fixture
def gpiod(monkeypatch):
    """The stand-in, in place of the package; `asked` holds what was requested."""
    module = types.ModuleType("gpiod")
    module.line = types.SimpleNamespace(Direction=Direction, Edge=Edge, Bias=Bias, Value=Value)
    module.LineSettings = lambda **settings: settings
    module.request = Request()

    def request_lines(chip, config, consumer, event_buffer_size):
        module.asked = (chip, config, consumer, event_buffer_size)
        return module.request

    module.request_lines = request_lines
    monkeypatch.setitem(sys.modules, "gpiod", module)
    return module


def test_lines_are_asked_for_as_inputs_only(gpiod):
    open_pins(SETTINGS)
    chip, config, consumer, _ = gpiod.asked
    assert (chip, consumer, set(config)) == ("/dev/gpiochip0", "wellhand", {17, 18, 22, 27})
    assert all(one["direction"] is Direction.INPUT for one in config.values())
    assert {line: one["edge_detection"] for line, one in config.items()} == {
        17: Edge.NONE, 18: Edge.NONE, 22: Edge.RISING, 27: Edge.RISING,
    }  # fmt: skip
    assert {line: (one["bias"], one["active_low"]) for line, one in config.items()} == {
        17: (Bias.PULL_UP, True), 18: (Bias.PULL_DOWN, False), 22: (Bias.DISABLED, True), 27: (Bias.PULL_UP, True),
    }  # fmt: skip
    assert config[18]["debounce_period"].total_seconds() == pytest.approx(0.02)


def test_levels_and_closings(gpiod):
    pins = open_pins(SETTINGS)
    gpiod.request.levels[17] = Value.ACTIVE
    assert (pins.closed(17), pins.closed(18)) == (True, False)
    gpiod.request.events = [(27, 1), (22, 1), (27, 2)]
    assert pins.closings(27) == 2
    assert pins.closings(27) == 0
    assert pins.closings(22) == 1, "asking for one line keeps the other's count"
    pins.close()
    assert gpiod.request.released


def test_closings_lost_from_the_buffer_are_still_counted(gpiod):
    pins = open_pins(SETTINGS)
    gpiod.request.events = [(27, 1)]
    assert pins.closings(27) == 1
    gpiod.request.events = [(27, 500)]
    assert pins.closings(27) == 499, "the kernel numbers each line's events, dropped ones too"


def test_a_missing_or_old_package_is_said(gpiod, monkeypatch):
    del gpiod.request_lines
    with pytest.raises(OSError, match="too old: version 2 is needed"):
        open_pins(SETTINGS)
    monkeypatch.setitem(sys.modules, "gpiod", None)
    with pytest.raises(OSError, match="pip install gpiod"):
        open_pins(SETTINGS)
