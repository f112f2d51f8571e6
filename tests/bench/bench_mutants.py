"""Does a named test notice each of the hand-made mistakes of tests/mutants/table.py? `python tests/bench/bench_mutants.py [--only TEXT]`.

Copies the tree aside, sees that every named test passes there, then puts in one mistake at a time and runs its test: it must fail.
Prints one line each; exits 1 where a mistake went unnoticed or its old text is no longer found. Minutes of work, so no test of the suite.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.mutants.table import MUTANTS, Mutant  # noqa: E402 - found only with the tree on the path

LEFT_OUT = shutil.ignore_patterns(
    ".git", ".venv*", "__pycache__", ".*_cache", "build", "dist", "*.egg-info", ".hypothesis"
)
FAILED = 1  # pytest: tests ran and some failed; anything else is no verdict


def main() -> int:
    """Copy, change, run, restore, for each mutant."""
    parser = argparse.ArgumentParser(description="does a named test notice each hand-made mistake")
    parser.add_argument("--only", default="", help="mutants whose file or description holds this")
    args = parser.parse_args()
    chosen = [m for m in MUTANTS if args.only in f"{m.file} {m.what}"]
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=LEFT_OUT)
        sound, said = run_tests(tree, sorted({m.test for m in chosen}))
        if sound != 0:
            print("The tests fail without any mutant; nothing can be said.", said, sep="\n")
            return 1
        verdicts = [verdict(tree, mutant) for mutant in chosen]
    print(f"{verdicts.count('noticed')} of {len(chosen)} mutants noticed by their tests")
    return 0 if set(verdicts) <= {"noticed"} else 1


def verdict(tree: Path, mutant: Mutant) -> str:
    """Let one mutant loose in the copy, run its test, put the file back; prints the line."""
    path = tree / "analysis" / mutant.file
    text = path.read_text()
    if text.count(mutant.old) != 1:
        found = f"OLD TEXT FOUND {text.count(mutant.old)} TIMES"
    else:
        path.write_text(text.replace(mutant.old, mutant.new))
        code, _ = run_tests(tree, [mutant.test])
        path.write_text(text)
        found = "noticed" if code == FAILED else "NOT NOTICED" if code == 0 else f"NO VERDICT (pytest {code})"
    print(f"{found:12s} {mutant.file:32s} {mutant.what:50s} {mutant.test.rpartition('/')[2]}", flush=True)
    return found


def run_tests(tree: Path, tests: list[str]) -> tuple[int, str]:
    """pytest's exit code and output in the copy; no compiled files, which a change within one second would outlive."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "-p", "no:xdist", *tests],
        cwd=tree, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(tree)},
    )  # fmt: skip
    return done.returncode, done.stdout[-4000:]


if __name__ == "__main__":
    sys.exit(main())
