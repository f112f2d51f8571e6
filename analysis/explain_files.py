"""The figures and pictures of findings as files: one folder a finding.

Flow: explanation.py -> HERE -> FOLDER/<finding id>/{finding.json, advice.txt, <picture>.csv, .svg, .png}.
Never: a folder outside the one named, whatever a finding's id says.
"""

import json
import re
import textwrap
from importlib.util import find_spec
from pathlib import Path

from analysis.advice_words import WIDE, advice_text
from analysis.explanation import Explanation

PNG_NEEDS = "matplotlib"
SAFE_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")


class NoPng(RuntimeError):
    """PNG was asked for and what draws it is not installed; the text says which package."""

    def __init__(self) -> None:
        super().__init__(
            "PNG needs the package matplotlib, which is not installed\n    fix: pip install matplotlib, or --format svg"
        )


def can_png() -> bool:
    """Is the package that draws PNG installed?"""
    return find_spec(PNG_NEEDS) is not None


def write_explanation(into: Path, explanation: Explanation, formats: tuple[str, ...] = ("svg",)) -> list[Path]:
    """Write the finding, its page of advice and the tables, and the pictures in `formats` (svg, png), below `into`; the files.

    ValueError: the finding's id cannot name a folder. NoPng: without Matplotlib. OSError: they cannot be written.
    """
    finding = explanation.finding
    if not SAFE_ID.fullmatch(finding.id):
        raise ValueError(f"finding {finding.id[:60]!r}: its id cannot name a folder")
    if "png" in formats and not can_png():
        raise NoPng
    folder = into / finding.id
    folder.mkdir(parents=True, exist_ok=True)
    made = [folder / "finding.json", folder / "advice.txt"]
    text = json.dumps(explanation.as_dict(), indent=1, ensure_ascii=False, allow_nan=False)
    made[0].write_text(text + "\n", encoding="utf-8")
    made[1].write_text(_page(explanation), encoding="utf-8")
    for name in explanation.pictures:
        made.append(folder / f"{name}.csv")
        explanation.frame(name).to_csv(made[-1], index=False, float_format="%.6g")
        if "svg" in formats:
            made.append(folder / f"{name}.svg")
            made[-1].write_text(explanation.svg(name), encoding="utf-8")
        if "png" in formats:
            from analysis.drawing.plotted import save_png

            made.append(folder / f"{name}.png")
            save_png(made[-1], explanation, name)
    return made


def _page(explanation: Explanation) -> str:
    """What to do about it, under its name and what to check first: the sheet to take along."""
    finding, facts = explanation.finding, explanation.facts
    head = f"{facts.site.name}: {finding.cause} ({finding.id})"
    check = textwrap.fill(f"Check first: {finding.check}", WIDE)
    return f"{head}\n\n{check}\n\n{advice_text(explanation.advice)}"
