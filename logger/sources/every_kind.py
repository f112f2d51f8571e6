"""Imports every kind of source, which registers them. A new source adds its line here."""

from logger.sources import contacts, modbus, one_wire, replay, sunspec, text_line  # noqa: F401
