"""Judging a site file as a careful colleague would: one file for each family of checks.

Flow: typed site file -> HERE -> commands/check.py, the certificate of hand-over.
"""

from analysis.site_check.array_layout import array_against_pump, array_aim, array_cable, array_layout
from analysis.site_check.borehole import drawdown_and_yield, levels
from analysis.site_check.datasheets import module_sheet, motor_plate, pump_table
from analysis.site_check.place_and_sensors import place, sensors
from analysis.site_check.pump_duty import head_on_table, lifts_water, motor_cable, pipes
from analysis.site_check.pump_rows import pump_rows
from analysis.site_check.remark import Checked, Grade, Remark
from analysis.site_check.settings_and_visits import settings, visits
from analysis.site_check.string_voltage import string_voltage
from logger.record.site_facts import SiteFacts

__all__ = ["Checked", "Grade", "Remark", "check_site", "plainly_wrong", "remarks_on"]

OF_FACTS = (
    place, module_sheet, pump_table, pump_rows, string_voltage, array_layout, array_cable, array_aim, levels, settings, visits,
)  # fmt: skip
OF_THE_TABLE = (motor_plate, array_against_pump, motor_cable)
"""Those that take the pump's power from its table: with a whole column of it wrong they would say the same mistake again."""
OF_THE_DAY = (head_on_table, lifts_water, drawdown_and_yield, pipes, sensors)
"""Those that need the expected day, hence datasheets that fit a pump and a module."""
NO_DAY = ("pump.curve", "array.module.")
"""Tables that no day can be told from while something in them is wrong. The dot keeps `array.modules_in_series` out: a string
of the wrong length says nothing against the pump, the well or the pipes."""


def check_site(facts: SiteFacts, file: str) -> list[Remark]:
    """Every remark on a site file, gravest first, otherwise in the order of the file's tables.

    Parameters
    ----------
    facts : SiteFacts
    file : str
        Name to print.

    Notes
    -----
    Judges typed facts only. A file with a value missing or out of its range is refused while it is read, all such values at once;
    what is wrong beside them, whatever they are, `beside.py` tells.
    """
    return remarks_on(Checked(facts, file))


def remarks_on(site: Checked) -> list[Remark]:
    """The same for a site whose model and days are wanted afterwards."""
    found = [remark for check in OF_FACTS for remark in check(site)]
    if not any(r.grade == "wrong" and r.problem.key == "pump.curve" for r in found):
        found += [remark for check in OF_THE_TABLE for remark in check(site)]
    unusable = any(r.grade == "wrong" and r.problem.key.startswith(NO_DAY) for r in found)
    if not unusable:
        found += [remark for check in OF_THE_DAY for remark in check(site)]
    order = {"wrong": 0, "doubtful": 1, "note": 2}
    return sorted(found, key=lambda remark: order[remark.grade])


def plainly_wrong(facts: SiteFacts, file: str) -> list[Remark]:
    """What cannot work or is unsafe by the facts alone, without the expected day: a pump above the water, a string above the rating."""
    site = Checked(facts, file)
    return [remark for check in OF_FACTS for remark in check(site) if remark.grade == "wrong"]
