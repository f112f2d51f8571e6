"""What stated confidences are worth, and the numbers of `analysis/calibration.py` counted: `python tests/bench/bench_confidence.py [--seed N] [--cases N]`.

Draws seasons of the three plants that stand in this repository, `--cases` of each plant and fit-out, evenly over causes, one in five of them
sound, and judges them. A finding is true where a fault of its cause was there when it was flagged, however it was dated. Prints

- of each plant the expected calibration error as it is stated, and as it would be by the numbers counted on all other plants: that is what
  they are worth on a plant that was not counted; beside it what as many findings err by if every confidence is exact (the count's own);
- how many were true, by what the confidence hangs on;
- the numbers counted on all.

Findings of one plant err together, so that many of one plant count for less each; and so do those of the three plants of this repository, on
whose seasons rules were tried. `--keep FILE` writes what was counted, a line a finding; `--also FILE`
takes such lines in, of plants kept elsewhere. Of another engine they are worth nothing: count again whenever the weighing changes.
"""

import argparse
import json
import secrets
import sys
import warnings
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from unittest.mock import patch

import numpy as np
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis import calibration
from analysis.pipeline import ENGINE_VERSION, advance, begin
from tests.bench.bench_diagnosis import Drawn, calibration_error, draw, flagged_during

HERE = ("samples", "otherworld", "farworld")
HERE_WORTH = 1.0 / 3.0 / 3.0  # of a plant on whose seasons rules were tried, beside one on which none was
ALIKE = 0.01
"""How far two findings of one plant go together: the plants' shares true spread by about as much beyond what counting explains."""
SOUND_EACH = 5
FITOUTS = ("full", "middle", "lean")
NAMES = ("AT_EVENS", "PER_LOG_ODDS", "RENAMED", "LEFT_OVER", "ONCE")
HELD_IN = np.array([0.05, 0.05, 0.3, 0.3, 0.3])
"""One over the variance that each number is thought to have about 0, before anything was counted (common practice, no source)."""
AS_FINDINGS = (
    3.0  # each count of a cause by itself is drawn towards that of all such causes by so many findings (likewise)
)
REPEATS = 200


@dataclass(frozen=True)
class Counted:
    """One finding at a season's end. `share`: as weighed. `by_itself`: no other cause competes with it. `rival_true`: a rival's fault was there instead."""

    plant: str
    cause: str
    by_itself: bool
    share: float
    renamed: bool
    left_over: bool
    once: bool
    unread: bool
    told: float
    true: bool
    rival_true: bool
    offered: float


def counted(plant: str, case: Drawn) -> list[Counted]:
    """Judge a season and count its findings, those that would wait until they are likelier too: what their shares are worth decides who waits."""
    with patch("analysis.close.told_at_close", lambda *_: None):
        state = advance(begin(case.facts), case.rows, int(case.rows.time_ms.max()) + 60_000)
    found = []
    for finding, own in zip(state.findings, state.memory.cases, strict=True):
        there = {truth.cause for truth in case.truths if flagged_during(truth, finding)}
        left = 1.0 - own.confidence
        found.append(
            Counted(
                plant,
                own.cause,
                own.family == own.cause,
                own.confidence,
                own.cause != own.first_cause,
                own.cause in calibration.ARE_LEFT_OVER and calibration.MARKED not in own.weighed,
                own.ended_ms is not None and own.revision <= 1,
                own.figures.get("unread", 0.0) > 0,
                finding.confidence,
                own.cause in there,
                own.cause not in there and bool(there & set(own.rivals)),
                min(sum(own.rivals.values()) / left, 1.0) if left > 0.0 else 0.0,
            )
        )
    return found


def drawn(seed: int, cases: int) -> list[Counted]:
    """Of the plants of this repository. A season that its simulator cannot draw is left out."""
    found: list[Counted] = []
    for world in HERE:
        for fitout in FITOUTS:
            for number in range(cases):
                try:
                    case = draw(world, seed + number, fitout, True if number % SOUND_EACH == 0 else None)
                except ValueError:
                    continue
                found += counted(world, case)
    return found


def worth(rows: list[Counted]) -> np.ndarray:
    """Of each finding, as many findings as it counts for.

    Those of one plant err together: n of them, of which any two go together by ALIKE, tell as much of another plant as n / (1 + n ALIKE)
    that do not (Kish's design effect of clusters).
    """
    many = Counter(row.plant for row in rows)
    return np.array(
        [(HERE_WORTH if row.plant in HERE else 1.0) / (1.0 + ALIKE * (many[row.plant] - 1)) for row in rows]
    )


def asked(rows: list[Counted]) -> np.ndarray:
    """What the odds hang on, a column for each of NAMES."""
    shares = np.clip([row.share for row in rows], 1e-6, 1.0 - 1e-9)
    own = np.minimum(np.log(shares) - np.log1p(-shares), calibration.MOST_LOG_ODDS)
    flags = [[row.renamed, row.left_over, row.once] for row in rows]
    return np.column_stack([np.ones(len(rows)), own, np.array(flags, float).reshape(-1, 3)])


def weighed_numbers(rows: list[Counted]) -> np.ndarray:
    """NAMES by the likeliest logistic of the weighed findings, each held in about 0."""
    x, true, much = asked(rows), np.array([row.true for row in rows], float), worth(rows)

    def lost(numbers: np.ndarray) -> tuple[float, np.ndarray]:
        logs = x @ numbers
        off = 1.0 / (1.0 + np.exp(-logs)) - true
        score = much @ (np.logaddexp(0.0, logs) - true * logs) + 0.5 * HELD_IN @ numbers**2
        return float(score), x.T @ (much * off) + HELD_IN * numbers

    return np.asarray(minimize(lost, np.zeros(len(NAMES)), jac=True, method="L-BFGS-B").x)


def name_of(row: Counted) -> str:
    return "unread" if row.unread else row.cause


def own_numbers(rows: list[Counted]) -> Callable[[str, bool], float]:
    """By cause and whether it came once, the share true, drawn towards that of all that no other competes with."""
    sums: dict[tuple[str, bool], np.ndarray] = defaultdict(lambda: np.zeros(2))
    for row, much in zip(rows, worth(rows) if rows else [], strict=True):
        for name in (name_of(row), ""):
            sums[name, row.once] += much * np.array([row.true, 1.0])

    def share(name: str, once: bool) -> float:
        true, many = sums["", once] + (0.5, 1.0)
        return float((sums[name, once][0] + AS_FINDINGS * true / many) / (sums[name, once][1] + AS_FINDINGS))

    return share


def stated_by(rows: list[Counted], others: list[Counted]) -> np.ndarray:
    """Confidences of `rows` by the numbers counted on `others`."""
    numbers = weighed_numbers([row for row in others if not row.by_itself])
    own = own_numbers([row for row in others if row.by_itself])
    weighed = 1.0 / (1.0 + np.exp(-asked(rows) @ numbers))
    return np.array(
        [own(name_of(row), row.once) if row.by_itself else told for row, told in zip(rows, weighed, strict=True)]
    )


def of_counting(stated: np.ndarray) -> float:
    """Expected calibration error of as many findings whose confidences are exact."""
    rng = np.random.default_rng(0)
    return float(
        np.mean(
            [
                calibration_error(list(zip(stated, rng.random(len(stated)) < stated, strict=True)))
                for _ in range(REPEATS)
            ]
        )
    )


def by_plant(rows: list[Counted]) -> list[str]:
    """Of each plant: as stated, and by the numbers of all others."""
    lines = [
        "plant         findings  true   as stated: mean  error   by the others' numbers: mean  error  log score   the count's own error"
    ]
    for plant in sorted({row.plant for row in rows}):
        own, others = [row for row in rows if row.plant == plant], [row for row in rows if row.plant != plant]
        true, told = np.array([row.true for row in own]), np.array([row.told for row in own])
        line = f"{plant:14s}{len(own):8d}  {true.mean():.2f}              {told.mean():.2f}  {calibration_error(list(zip(told, true, strict=True))):.3f}"
        if others:
            left = stated_by(own, others)
            score = float(np.log(np.where(true, left, 1.0 - left)).mean())
            line += f"                            {left.mean():.2f}  {calibration_error(list(zip(left, true, strict=True))):.3f}      {score:.3f}                   {of_counting(left):.3f}"
        lines.append(line)
    return lines


def by_grounds(rows: list[Counted]) -> list[str]:
    """How many were true, by plant."""
    lines = []
    for what, chosen in (
        ("weighed, came again or stays", lambda row: not row.by_itself and not row.once and not row.left_over),
        ("weighed, came once", lambda row: not row.by_itself and row.once),
        ("left over, came again or stays", lambda row: row.left_over and not row.once),
        *(
            (f"{cause}, {'once' if once else 'again'}", lambda row, c=cause, o=once: row.by_itself and name_of(row) == c and row.once is o)
            for cause in (*calibration.BY_ITSELF, "unread")
            for once in (False, True)
        ),
    ):  # fmt: skip
        told = [
            f"{plant} {sum(r.true for r in part)} of {len(part)}"
            for plant in sorted({row.plant for row in rows})
            if (part := [row for row in rows if row.plant == plant and chosen(row)])
        ]
        if told:
            lines.append(f"{what:36s}" + ", ".join(told))
    return lines


def numbers_of(rows: list[Counted]) -> list[str]:
    """The numbers of calibration.py as they stand there, and as counted."""
    weighed, itself = [row for row in rows if not row.by_itself], [row for row in rows if row.by_itself]
    lines = [
        f"{name:14s} stands at {getattr(calibration, name):.2f}, counted {number:.2f}"
        for name, number in zip(NAMES, weighed_numbers(weighed), strict=True)
    ]
    own, much = own_numbers(itself), worth(weighed)
    left = 1.0 - stated_by(weighed, rows)
    for once, holds in calibration.OTHERS_HOLD.items():
        of = np.array([row.once is once for row in weighed], bool)
        offered = float((much * left * [row.offered for row in weighed])[of].sum())
        hold = float((much * [row.rival_true for row in weighed])[of].sum()) / max(offered, 1e-9)
        lines.append(f"OTHERS_HOLD    {'once' if once else 'again'} stands at {holds:.2f}, counted {hold:.2f}")
    for cause, stand in {**calibration.BY_ITSELF, "unread": calibration.UNREAD}.items():
        lines.append(f"{cause:16s} stands at {stand}, counted ({own(cause, False):.2f}, {own(cause, True):.2f})")
    return lines


def main() -> int:
    """Draw, judge, count, print."""
    parser = argparse.ArgumentParser(description="what stated confidences are worth on plants that were not counted")
    parser.add_argument("--seed", type=int, default=None, help="of the first case; drawn and printed where not given")
    parser.add_argument("--cases", type=int, default=10, help="of each plant and fit-out; 0 = those of --also alone")
    parser.add_argument("--keep", type=Path, default=None, help="file for what was counted")
    parser.add_argument("--also", type=Path, nargs="*", default=[], help="files that --keep wrote")
    args = parser.parse_args()
    warnings.filterwarnings("ignore", module="pvlib")
    seed = secrets.randbelow(10**6) if args.seed is None else args.seed
    print(f"engine {ENGINE_VERSION}, seeds {seed} to {seed + args.cases - 1} of each plant and fit-out")
    rows = drawn(seed, args.cases)
    if args.keep is not None:
        args.keep.write_text("".join(json.dumps(asdict(row)) + "\n" for row in rows))
    rows += [Counted(**json.loads(line)) for file in args.also for line in file.read_text().splitlines()]
    print(*by_plant(rows), *by_grounds(rows), *numbers_of(rows), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
