"""Watching registers while a technician types what the meter shows, until each channel has one place or the few that fit.

Flow: finder.py -> HERE -> resemblance.py.
Never: a channel settled silently where several places fit: the others go into its note.
"""

from collections.abc import Callable
from dataclasses import replace
from difflib import get_close_matches

from logger.modbus.register_map import BIT_TABLES, MapFacts, Register, RegisterMap
from logger.modbus.resemblance import Candidate, Sample, candidates, moving, tells_apart
from logger.modbus.survey import Address, Snapshot, Survey
from logger.record.channels import CHANNELS, honest

SHOWN_MAX = 6
NOTED_MAX = 4
HOW = """\
Now read a value off the meter or the display and type it with its channel the moment it shows, such as
  pv_voltage_v 213.4
Do so two or three times while it differs well (sun, speed), for each channel you can read; flags as 0 and 1.
  moved     registers that have changed so far
  channels  the names of the channels
  done      write the map"""


class Watch:
    """Collects samples by channel."""

    def __init__(self, survey: Survey, addresses: list[Address], ask: Callable[[str], str], say: Callable[[str], None]):
        self._survey, self._addresses = survey, addresses
        self._ask, self._say = ask, say
        self._samples: dict[str, list[Sample]] = {}
        self._seen: list[Snapshot] = []

    def run(self) -> RegisterMap | None:
        """Ask until done; the map, or None where no channel has been found."""
        self._say(HOW)
        while (typed := self._ask("> ").strip()) != "done":
            if typed == "moved":
                self._show_moved()
            elif typed == "channels":
                self._say("\n".join(f"  {name}  ({one.unit}): {one.meaning}" for name, one in CHANNELS.items()))
            elif typed:
                self._take(typed)
        return self._map()

    def _take(self, typed: str) -> None:
        channel, _, text = typed.partition(" ")
        try:
            value = float(text.strip().replace(",", "."))
        except ValueError:
            value = float("nan")
        if channel not in CHANNELS:
            close = get_close_matches(channel, CHANNELS, 1, 0.4)
            self._say(f"  no such channel: {channel}{f'; did you mean {close[0]}?' if close else ''}")
        elif honest(channel, value) is None:
            one = CHANNELS[channel]
            span = f"{one.lowest:g} to {one.highest:g} {one.unit}"
            self._say(f"  expected a number of {span} after the channel, such as: {channel} {min(12.0, one.highest):g}")
        else:
            try:
                seen = self._survey.snapshot(self._addresses)
            except OSError as error:
                self._say(f"  the line is away ({error}); nothing was noted")
                return
            self._seen.append(seen)
            self._samples.setdefault(channel, []).append(Sample(value, seen))
            self._show(channel)

    def _show(self, channel: str) -> None:
        samples = self._samples[channel]
        fits = candidates(channel, samples)
        self._say(f"  {channel}: {len(samples)} typed, {len(fits)} ways to read it fit")
        for one in fits[:SHOWN_MAX]:
            self._say(f"    {one.worded()}")
        if CHANNELS[channel].kind == "flag" and len({sample.value for sample in samples}) < 2:
            self._say("    type it once more when it has changed")
        elif not fits:
            self._say("    none fits them all: is the unit right, is it in a table or range that was not scanned?")
        elif len(fits) > 1 and not tells_apart(samples):
            self._say("    type it again when it differs by a tenth or more")

    def _show_moved(self) -> None:
        moved = moving(self._seen)
        self._say(f"  {len(moved)} registers have changed" + ("" if moved else "; type values at two moments first"))
        for (table, address), (lowest, highest) in sorted(moved.items())[:60]:
            self._say(f"    {table} {address}: {lowest} to {highest}")

    def _map(self) -> RegisterMap | None:
        registers: list[Register] = []
        for channel, samples in self._samples.items():
            fits = candidates(channel, samples)
            if fits:
                _add(registers, replace(fits[0].register, note=_note(samples, fits)))
            else:
                self._say(f"  left out: {channel}, nothing fits")
        if not registers:
            return None
        return RegisterMap(MapFacts("controller", "found by watching; to be finished by hand"), tuple(registers))


def _note(samples: list[Sample], fits: list[Candidate]) -> str:
    values = ", ".join(f"{sample.value:g}" for sample in samples)
    note = f"fits {values}"
    if len(samples) > 1 and not tells_apart(samples):
        note += "; these hardly differ, so chance may be at work"
    if len(samples) == 1:
        note += "; a single value, so chance may be at work"
    if len(fits) > 1:
        others = "; ".join(one.worded() for one in fits[1 : 1 + NOTED_MAX])
        note += f". {len(fits) - 1} more fit: {others}"
    return note


def _add(registers: list[Register], new: Register) -> None:
    """Bits of one word go into one register."""
    for place, old in enumerate(registers):
        same_word = (old.table, old.address) == (new.table, new.address) and old.table not in BIT_TABLES
        if same_word and old.bits and new.bits:
            registers[place] = replace(old, bits=old.bits + new.bits, note=f"{old.note} | {new.note}")
            return
    registers.append(new)
