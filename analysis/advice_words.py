"""A page of advice as words: for the terminal and a text file, and as plain lists for JSON.

Flow: causes/registry.py (Advice) -> HERE -> explanation.py, explain_files.py, commands/explain.py, review_words.py.
Never: advice of its own.
"""

import textwrap

from analysis.causes.registry import Advice

WIDE = 100
"""Characters a line of the text file: a page of a terminal or a sheet of paper."""
HEADINGS = {
    "cautions": "What can hurt",
    "own": "What you can do yourself",
    "technician": "What is for a technician",
}


def advice_told(advice: Advice) -> dict[str, list[str]]:
    """The page as lists of sentences by HEADINGS' names, the nearest danger first.

    >>> from analysis.causes.registry import all_causes
    >>> advice_told(all_causes()["silent"].advice_at("helical-rotor"))["cautions"]
    ["Do not open the pump controller's box: the array keeps it at a dangerous voltage by day."]
    """
    return {
        "cautions": [one.said for one in advice.cautions],
        "own": list(advice.own),
        "technician": list(advice.technician),
    }


def advice_text(advice: Advice, wide: int = WIDE) -> str:
    """The page for reading: what can hurt stands before what to do. `wide`: characters a line."""
    parts = []
    for name, sentences in advice_told(advice).items():
        lines = [textwrap.fill(one, wide, initial_indent="- ", subsequent_indent="  ") for one in sentences]
        parts.append("\n".join([f"{HEADINGS[name]}:", *lines]))
    return "\n\n".join(parts) + "\n"
