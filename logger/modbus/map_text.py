"""A register map -> TOML, to be finished by hand.

Flow: `wellhand registers` -> HERE -> a file that register_map.py reads back.
Never: a judgement; a comment lost silently (notes go along).
"""

import json
from collections.abc import Iterator

from logger.modbus.register_map import MapFacts, Register, RegisterMap
from logger.record.unit_slips import plain


def map_text(device: RegisterMap, heading: str = "") -> str:
    """The map as TOML; `heading` becomes a comment at the top."""
    lines = [f"# {line}".rstrip() for line in heading.splitlines()]
    lines += ["", "[map]", *_map_lines(device.map)]
    for register in device.registers:
        lines += ["", "[[register]]", *_register_lines(register)]
    return "\n".join(lines).lstrip("\n") + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _map_lines(facts: MapFacts) -> Iterator[str]:
    yield f"name = {_quoted(facts.name)}"
    if facts.about:
        yield f"about = {_quoted(facts.about)}"
    yield f"word_order = {_quoted(facts.word_order)}"
    yield f"registers_per_read = {facts.registers_per_read}"
    yield f"gap_max = {facts.gap_max}"


def _register_lines(register: Register) -> Iterator[str]:
    if register.channel:
        yield f"channel = {_quoted(register.channel)}"
    yield f"table = {_quoted(register.table)}"
    yield f"address = {register.address}"
    if register.type:
        yield f"type = {_quoted(register.type)}"
    if register.unit:
        yield f"unit = {_quoted(register.unit)}"
    if register.scale != 1:
        yield f"scale = {plain(register.scale)}"
    if register.offset:
        yield f"offset = {plain(register.offset)}"
    if register.word_order:
        yield f"word_order = {_quoted(register.word_order)}"
    if register.bytes_swapped:
        yield "bytes_swapped = true"
    if register.unavailable:
        yield f"unavailable = [{', '.join(map(plain, register.unavailable))}]"
    if register.bits:
        yield "bits = ["
        for bit in register.bits:
            inverted = ", inverted = true" if bit.inverted else ""
            yield f"  {{ bit = {bit.bit}, channel = {_quoted(bit.channel)}{inverted} }},"
        yield "]"
    if register.meanings:
        rows = ", ".join(f"{{ raw = {one.raw}, value = {plain(one.value)} }}" for one in register.meanings)
        yield f"meanings = [{rows}]"
    if register.note:
        yield f"note = {_quoted(register.note)}"
