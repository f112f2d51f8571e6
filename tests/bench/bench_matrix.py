"""Which cause is named first where which one is there: `python tests/bench/bench_matrix.py [--seed N] [--each N] [--kept FOLDER] [--recorded]`.

Draws cases of every cause and healthy ones in each world, judges them, and prints for each pump kind and fit-out a matrix: a row a true
cause, a column a cause named first while it was there, the share of the row in hundredths. `none`: nothing was said; as a row, healthy
seasons. Cases are kept in FOLDER, so that the next run with the same seed draws nothing; without --seed a fresh one is drawn and printed.
--recorded: the same of the recorded cases, half a minute's work.
"""

import argparse
import pickle
import secrets
import sys
import warnings
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.pipeline import advance, begin
from logger.record.causes import CAUSES
from logger.record.finding import Finding
from tests.bench.bench_diagnosis import Drawn, True_, draw, flagged_during, seconds
from tests.bench.targets import FIRST_RIGHT, mark
from tests.cases.recorded import read_case, recorded_cases, told_of

NOTHING = "none"
FITOUTS = ("full", "middle", "lean")
WORLDS = ("otherworld", "farworld", "samples")


def causes_of(world: str, fitout: str) -> set[str]:
    """What a world can draw, and what anyone could name with the sensors of a lean fit-out."""
    if world == "samples":
        from samples.draws import CAUSE_SHARES

        return {*CAUSE_SHARES, NOTHING}
    from tests.bench.farworld.faults import CAUSES as OF_FARWORLD
    from tests.bench.otherworld.case import CAUSES as OF_OTHERWORLD
    from tests.bench.otherworld.case import NOT_LEAN

    able = {*(OF_OTHERWORLD if world == "otherworld" else OF_FARWORLD), NOTHING}
    return able - (set(NOT_LEAN) if fitout == "lean" else set())


def drawn(world: str, seed: int, fitout: str, cause: str, kept: Path | None) -> Drawn:
    """A case that holds `cause`; read from `kept` where it lies there."""
    path = None if kept is None else kept / f"{world}-{fitout}-{cause}-{seed}.pickle"
    if path is not None and path.is_file():
        return pickle.loads(path.read_bytes())
    case = draw(world, seed, fitout, True, None) if cause == NOTHING else draw(world, seed, fitout, None, cause)
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(case, protocol=5))
    return case


def first_named(truth: True_ | None, findings: list[Finding]) -> str:
    """First cause of the earliest finding that was flagged while the fault was there; of all where there is none."""
    during = [f for f in findings if truth is None or flagged_during(truth, f)]
    return min(during, key=lambda f: f.flagged).first_cause if during else NOTHING


Matrices = dict[tuple[str, str], dict[str, Counter[str]]]


def of_recorded() -> Matrices:
    """By pump kind and fit-out, of the drawn cases among those recorded."""
    matrices: Matrices = defaultdict(lambda: defaultdict(Counter))
    for one in recorded_cases():
        if one.fitout is None:
            continue
        facts, rows, _ = read_case(one.folder, one.fitout)
        found = list(advance(begin(facts), rows, int(rows.time_ms.max())).findings)
        told = told_of(one.folder)["truth"]
        unread = told is not None and told["channel"] is not None and told["channel"] not in facts.sensors.channels
        end = float(rows.time_ms.max()) / 1000.0
        truth = None
        if told is not None and not unread:
            until = end if told["ended"] is None else seconds(told["ended"])
            truth = True_(told["cause"], told["part"], seconds(told["began"]), until, np.nan, told["ended"] is None)
        matrices[facts.pump.kind, one.fitout][truth.cause if truth else NOTHING][first_named(truth, found)] += 1
    return matrices


def of_drawn(args: argparse.Namespace, seed: int) -> Matrices:
    """By pump kind and fit-out, of cases drawn afresh."""
    matrices: Matrices = defaultdict(lambda: defaultdict(Counter))
    for cause in args.cause or (*CAUSES, NOTHING):
        for world in args.world or WORLDS:
            for fitout in args.fitout or FITOUTS:
                if cause not in causes_of(world, fitout):
                    continue
                for number in range(seed, seed + args.each):
                    case = drawn(world, number, fitout, cause, args.kept)
                    found = list(advance(begin(case.facts), case.rows, int(case.rows.time_ms.max())).findings)
                    truths = [t for t in case.truths if t.cause == cause and not t.slight]
                    for truth in [None] if cause == NOTHING else truths:
                        matrices[case.facts.pump.kind, fitout][cause][first_named(truth, found)] += 1
    return matrices


def printed(title: str, counts: dict[str, Counter[str]]) -> str:
    """One matrix, hundredths; columns that nothing fell into are left out."""
    columns = [name for name in (*CAUSES, NOTHING) if any(row[name] for row in counts.values())]
    head = "".join(f"{name[:7]:>8s}" for name in columns)
    lines = [title, f"{'there / named first':24s}{'cases':>6s}{head}"]
    for cause, row in counts.items():
        total = sum(row.values())
        shares = "".join(f"{100 * row[name] / total:8.0f}" if row[name] else f"{'.':>8s}" for name in columns)
        lines.append(f"{cause:24s}{total:6d}{shares}")
    right = sum(row[cause] for cause, row in counts.items())
    every = sum(sum(row.values()) for row in counts.values())
    share = right / max(every, 1)
    lines.append(
        f"named rightly first: {right} of {every}, to reach {FIRST_RIGHT:g} of them{mark(share >= FIRST_RIGHT)}"
    )
    return "\n".join(lines)


def main() -> int:
    """Draw, judge, count, print."""
    parser = argparse.ArgumentParser(description="which cause is named first where which one is there")
    parser.add_argument("--seed", type=int, default=None, help="of the first case; drawn and printed where not given")
    parser.add_argument("--each", type=int, default=4, help="cases of each cause, world and fit-out")
    parser.add_argument("--fitout", action="append", choices=FITOUTS, help="may be repeated; all where not given")
    parser.add_argument("--world", action="append", choices=WORLDS, help="may be repeated; all where not given")
    parser.add_argument(
        "--cause", action="append", choices=[*CAUSES, NOTHING], help="may be repeated; all where not given"
    )
    parser.add_argument("--kept", type=Path, default=None, help="folder in which drawn cases lie")
    parser.add_argument("--recorded", action="store_true", help="of the recorded cases; nothing is drawn")
    args = parser.parse_args()
    warnings.filterwarnings("ignore")
    seed = secrets.randbelow(10**6) if args.seed is None else args.seed
    print("recorded cases" if args.recorded else f"seed {seed}, {args.each} of each")
    matrices = of_recorded() if args.recorded else of_drawn(args, seed)
    for (kind, fitout), counts in sorted(matrices.items()):
        print(printed(f"\n{kind}, {fitout}", counts))
    return 0


if __name__ == "__main__":
    sys.exit(main())
