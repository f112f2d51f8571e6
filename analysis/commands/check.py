"""`wellhand check`: judge a site file as a careful colleague would, and print the day to expect.

Flow: a site file -> site_check -> words on the terminal, and a picture on request.
Never: writes anything but the picture.

Limit: where a value is missing or out of its range there is no day to expect; such values are said at once, with what is wrong beside them
whatever they are (`site_check/beside.py`).
"""

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.site_check import Remark
    from analysis.site_check.clear_day import ClearDay
    from logger.record.problems import FileError

HELP = "judge a site file and print the day to expect"
FINE, PROBLEMS, UNREADABLE = 0, 1, 2


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("site", type=Path, metavar="SITE.toml", help="the site file")
    parser.add_argument(
        "--picture", type=Path, metavar="FILE", help="draw the expected days: .svg, or .png and others with Matplotlib"
    )


def run(args: argparse.Namespace) -> int:
    """Exit code: 0 fine (notes at most), 1 something wrong or doubtful, 2 the file cannot be read at all."""
    from logger.record.problems import FileError
    from logger.record.site_file import load_site

    try:
        facts = load_site(args.site)
    except FileError as error:
        return _refused(error, args.site)

    from analysis.site_check import Checked, remarks_on

    site = Checked(facts, args.site.name)
    remarks = remarks_on(site)
    print("\n".join(_worded(facts.site.name, remarks)))
    failed = any(remark.grade != "note" for remark in remarks)
    try:
        days = site.days
    except ValueError:
        return PROBLEMS  # said above: the datasheets fit no pump or module, so there is no day to expect
    print("\n".join(_table(days)))
    if args.picture and not _pictured(args.picture, facts.site.name, days):
        return PROBLEMS
    return PROBLEMS if failed else FINE


def _refused(error: "FileError", path: Path) -> int:
    """What keeps the file from being judged as a whole: values, with what is wrong beside them, or no site file at all."""
    if any(problem.key == "file" or problem.key.startswith("line") for problem in error.problems):
        print(error, file=sys.stderr)
        return UNREADABLE
    from analysis.site_check.beside import remarks_beside
    from logger.record.tables import text_of

    print("\n".join(f"wrong: {problem}" for problem in error.problems))
    beside = [one for one in remarks_beside(text_of(path, []) or "", path.name) if one.grade != "note"]
    if beside:
        print("\nWhatever these values are:\n")
        print("\n".join(map(str, beside)))
    print("\nWhat hangs on them, and the day to expect, come once they are mended.")
    return PROBLEMS


def _worded(name: str, remarks: "Iterable[Remark]") -> list[str]:
    remarks = list(remarks)
    count = {grade: sum(r.grade == grade for r in remarks) for grade in ("wrong", "doubtful", "note")}
    total = ", ".join(
        f"{number} {grade}" + ("s" if grade == "note" and number != 1 else "") for grade, number in count.items()
    )
    return [f"{name}: {total}", "", *(f"{remark}" for remark in remarks), *([""] if remarks else [])]


def _table(days: "tuple[ClearDay, ...]") -> list[str]:
    lines = [
        "The day to expect under a clear sky (hours of the site's own clock; sun: what passes the modules' glass, in the plane of the array)"
    ]
    for day in days:
        spread = f"+-{2.0 * day.water_std_m3:.1f} for 19 of 20 such pumps"
        if day.water_m3 <= 0.0:
            spread = "the pump's table gives none at this head and power; more is not known"
        lines += [
            "",
            f"{day.date:%d %B}: {day.water_m3:.1f} m3 ({spread}) in {day.pumping_h:.1f} h, "
            f"sun {day.insolation_kwh_m2:.2f} kWh/m2, energy {day.energy_kwh:.2f} kWh",
            "  hour   sun W/m2   power W   water m3   head m   efficiency",
        ]
        for hour in day.hours:
            lifted = (
                f"{hour.head_m:8.1f}   {hour.efficiency:9.0%}"
                if hour.efficiency == hour.efficiency
                else "       -           -"
            )
            lines.append(
                f"  {hour.hour:4d}   {hour.poa_w_m2:8.0f}   {hour.power_w:7.0f}   {hour.flow_m3_h:8.2f} {lifted}"
            )
    return lines


def _pictured(path: Path, name: str, days: "tuple[ClearDay, ...]") -> bool:
    from analysis.site_check.picture import save

    try:
        save(path, name, days)
    except ValueError as error:
        print(f"no picture: {error}", file=sys.stderr)
        return False
    except OSError as error:
        print(f"no picture: {path}: {error.strerror}", file=sys.stderr)
        return False
    print(f"\nPicture: {path}")
    return True
