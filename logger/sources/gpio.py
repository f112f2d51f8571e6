"""The board's input pins through libgpiod's Python package, which only boards with contacts need.

Flow: contacts.py -> HERE -> gpiod 2 (pip install gpiod, or Debian's python3-libgpiod).
Never: a pin as an output.
"""

from datetime import timedelta
from typing import Any

EVENTS_HELD = 1024
PACKAGE_MISSING = "the Python package gpiod is not installed: sudo apt install python3-libgpiod, or pip install gpiod"


def open_pins(settings: Any) -> "GpiodPins":
    """The pins that `settings` (ContactsSettings) names. OSError: no package, no chip, a pin in use."""
    try:
        import gpiod  # noqa: PLC0415 - not part of the base install
    except ImportError:
        raise OSError(PACKAGE_MISSING) from None
    if not hasattr(gpiod, "request_lines"):
        raise OSError(f"gpiod {getattr(gpiod, '__version__', '1')} is too old: version 2 is needed")
    return GpiodPins(gpiod, settings)


class GpiodPins:
    """Requested lines. Closings are told by the kernel's count of each line, so none is lost when events overflow."""

    def __init__(self, gpiod: Any, settings: Any):
        self._line = gpiod.line
        pulses = {pulse.line for pulse in settings.pulses}
        config = {}
        for row in (*settings.contacts, *settings.pulses):
            config[row.line] = gpiod.LineSettings(
                direction=gpiod.line.Direction.INPUT,
                edge_detection=gpiod.line.Edge.RISING if row.line in pulses else gpiod.line.Edge.NONE,
                bias={
                    "up": gpiod.line.Bias.PULL_UP,
                    "down": gpiod.line.Bias.PULL_DOWN,
                    "none": gpiod.line.Bias.DISABLED,
                }[row.pull],
                active_low=row.pull != "down",
                debounce_period=timedelta(milliseconds=row.debounce_ms),
            )
        self._request = gpiod.request_lines(
            settings.chip, config=config, consumer="wellhand", event_buffer_size=EVENTS_HELD
        )
        self._seen = dict.fromkeys(pulses, 0)
        self._told = dict.fromkeys(pulses, 0)

    def closed(self, line: int) -> bool:
        """Is the contact closed now?"""
        return self._request.get_value(line) == self._line.Value.ACTIVE

    def closings(self, line: int) -> int:
        """Closings since the last question."""
        while self._request.wait_edge_events(timedelta(0)):
            for event in self._request.read_edge_events():
                self._seen[event.line_offset] = max(self._seen[event.line_offset], event.line_seqno)
        new = self._seen[line] - self._told[line]
        self._told[line] = self._seen[line]
        return new

    def close(self) -> None:
        """Let go of the lines."""
        self._request.release()
