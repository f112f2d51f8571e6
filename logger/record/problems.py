"""What is wrong in a file that a person wrote, and how to mend it.

Flow: tables.py, site_file.py, register maps and settings collect problems -> HERE -> printed as they stand.
Never: judgement, I/O.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing to mend. `key` is dotted; rows of a list count from 1, as people count: `pump.curve[2].head_m`."""

    file: str
    key: str
    wrong: str
    fix: str

    def __str__(self) -> str:
        return f"{self.file}: {self.key}: {self.wrong}\n    fix: {self.fix}"


class FileError(ValueError):
    """A file that cannot be used, with every problem found in it, not only the first."""

    def __init__(self, problems: list[Problem]):
        self.problems = problems
        super().__init__(problems)

    def __str__(self) -> str:
        return worded(self.problems)


def worded(problems: list[Problem], ending: str = "Nothing was started.") -> str:
    """Every problem, then how many there are in how many files."""
    files = len({problem.file for problem in problems})
    count = f"{counted(len(problems), 'problem')} in {counted(files, 'file')}."
    return "\n".join([*map(str, problems), f"{ending} {count}"])


def counted(number: int, thing: str) -> str:
    """The number and its thing, one or several."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
