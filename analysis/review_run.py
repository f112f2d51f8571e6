"""One run of `wellhand review`: read, judge with a progress bar, write whole files, say it in words.

Flow: commands/review.py -> HERE -> review_files.py, review_words.py; FOLDER.
Never: a half-written file: all is written beside FOLDER and moved in when complete.
"""

import json
import os
import shutil
import tempfile
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from analysis.explain_files import write_explanation
from analysis.explanation import explain
from analysis.plant import plant_of
from analysis.review_files import SiteReadings, bytes_of, read_all, review_one
from analysis.review_words import summary_of
from analysis.season import Review
from analysis.sky import measures_sun, without_sky
from analysis.store import Store, open_store
from analysis.tables_in import FilesError
from analysis.turn import turn
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts
from logger.record.site_file import SiteFileError, load_site

PICTURES = "pictures"
KB = 1000


def review(
    site_files: list[Path],
    reading_files: list[Path],
    out: Path,
    from_ms: int | None = None,
    to_ms: int | None = None,
    ignore_unknown: bool = False,
    store_url: str | None = None,
    pictures: bool = True,
) -> int:
    """0 when all is written. FileError: some file is wrong, and nothing was written; StoreError: likewise of the store."""
    sites = _sites(site_files)
    if out.exists() and not out.is_dir():
        raise FilesError([Problem(str(out), "--out", "is a file", "name a folder")])
    store = (
        open_store(store_url) if store_url is not None else None
    )  # before any work, so that a wrong one writes nothing
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[of]}"))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("reading files", total=bytes_of(reading_files) // KB, of="kB")
        every = read_all(
            sites, reading_files, ignore_unknown,
            lambda file, before: progress.update(task, description=file, completed=before // KB),
        )  # fmt: skip
        progress.remove_task(task)
        reviews = [_one(readings, from_ms, to_ms, progress) for readings in every]
        _write(out, reviews, every if pictures else [])
    if store is not None:
        _keep(store, dict(zip((site.site.id for site in sites), site_files, strict=True)), every, reviews)
    words = Console(highlight=False, soft_wrap=False)
    for one in reviews:
        words.print(summary_of(one))
    words.print(f"Written to {out}", markup=False)
    return 0


def _sites(files: list[Path]) -> list[SiteFacts]:
    problems: list[Problem] = []
    sites: list[SiteFacts] = []
    for path in files:
        try:
            sites.append(load_site(path))
        except SiteFileError as error:
            problems += error.problems
            continue
        try:
            plant_of(sites[-1])
        except ValueError as error:  # values that each may be, and that no pump or module has together
            problems.append(_no_such_plant(path, str(error)))
    ids = [site.site.id for site in sites]
    problems += [
        Problem("--site", name, "two site files have this id", "give each site its own")
        for name in sorted(set(ids))
        if ids.count(name) > 1
    ]
    if problems:
        raise FilesError(problems)
    return sites


def _no_such_plant(path: Path, said: str) -> Problem:
    key, _, wrong = said.partition(": ")
    if not wrong or " " in key:
        key, wrong = "pump.curve and array.module", said
    elif key.startswith("curve"):
        key = f"pump.{key}"
    return Problem(path.name, key, wrong, f"correct it from the datasheet; wellhand check {path} says more")


def _one(readings: SiteReadings, from_ms: int | None, to_ms: int | None, progress: Progress) -> Review:
    task = progress.add_task(readings.facts.site.name, total=len(readings.rows), of="rows")
    return review_one(readings, from_ms, to_ms, lambda done, of: progress.update(task, completed=done, total=of))


def _write(out: Path, reviews: list[Review], pictured: list[SiteReadings]) -> None:
    """All files, first beside `out`, then moved into it, findings last: who finds them finds the rest."""
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
        try:
            for one in reviews:
                _write_one(beside / one.facts.site.id if len(reviews) > 1 else beside, one)
            for readings, one in zip(pictured, reviews, strict=bool(pictured)):
                folder = beside / one.facts.site.id if len(reviews) > 1 else beside
                for finding in one.findings:
                    write_explanation(folder / PICTURES, explain(one.facts, readings.rows, finding, one.days))
            made = sorted(
                (path.relative_to(beside) for path in beside.rglob("*") if path.is_file()), key=_findings_last
            )
            for one in reviews:
                _forget_pictures((out / one.facts.site.id if len(reviews) > 1 else out) / PICTURES)
            for name in made:
                (out / name).parent.mkdir(parents=True, exist_ok=True)
                os.replace(beside / name, out / name)
        finally:
            shutil.rmtree(beside)
    except OSError as error:
        wrong = f"cannot be written: {error.strerror or error}"
        raise FilesError([Problem(str(out), "--out", wrong, "name a folder that we may write, with room")]) from None


def _forget_pictures(folder: Path) -> None:
    """Those of an earlier review: its findings may not be found again. Only folders that we wrote."""
    for old in folder.glob("*/finding.json"):
        shutil.rmtree(old.parent)


def _findings_last(name: Path) -> tuple[bool, str]:
    return name.name == "findings.json", str(name)


def _write_one(folder: Path, one: Review) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    days = one.days_frame()
    days.to_csv(folder / "daily.csv", index=False)
    days.to_parquet(folder / "daily.parquet", index=False)
    text = json.dumps(one.as_dict(), indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "findings.json").write_text(text + "\n", encoding="utf-8")


def _keep(store: Store, files: dict[str, Path], every: list[SiteReadings], reviews: list[Review]) -> None:
    """Sites, rows and what follows from them into the store, as if they had come live."""
    for readings in every:
        store.put_site(files[readings.facts.site.id].read_text(encoding="utf-8"))
    both = list(zip(every, reviews, strict=True))
    for readings, one in sorted(both, key=lambda pair: not measures_sun(pair[0].facts)):  # who tells of the sky first
        site = readings.facts.site.id
        inside = (readings.rows.time_ms >= one.from_ms) & (readings.rows.time_ms <= one.to_ms)
        store.load_history(site, without_sky(readings.rows).take(inside))
        turn(store, site, one.to_ms)
    store.close()
