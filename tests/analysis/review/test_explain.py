"""What led to a finding: the same from files, a review's folder, a store and Python; pictures true to their figures."""

import json
from dataclasses import replace
from io import StringIO
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from analysis import explain, review_season
from analysis.explain_files import write_explanation
from analysis.explanation import dates_around, ms_of, spans_around
from analysis.pictures import columns_of, flow_seen
from analysis.review_words import summary_of
from analysis.rows import Rows
from analysis.season import Review
from analysis.store import open_store
from logger.cli import main
from logger.record.finding import Finding

FOUND = Finding(
    "north-20251116T0800Z-1", "dry-running", "dry-running", "2025-11-16T08:00:00Z", "2025-11-16T08:05:00Z", 0.9,
    "figures", "look", ended="2025-11-16T11:00:00Z",
)  # fmt: skip
"""Told by hand: these tests are of the explaining, whatever the engine finds."""


@pytest.fixture
def parquet(tmp_path, frame):
    """The frame as a file."""
    frame.to_parquet(tmp_path / "readings.parquet", index=False)
    return tmp_path / "readings.parquet"


@pytest.fixture
def explained(facts, frame):
    """The dry hours explained, from Python."""
    return explain(facts, frame, FOUND, review_season(facts, frame).days)


def test_the_dry_hours_lie_at_no_flow_and_the_days_before_on_the_curve(explained):
    table = explained.frame("flow-against-power")
    assert set(table["what"]) == {"expected", "before", "after"}
    assert table.query("what == 'before' and power_w > 1000")["flow_m3_h"].min() > 2.5
    dry = table.query("what == 'after' and 450 < power_w < 750")
    assert len(dry)
    assert dry["flow_m3_h"].min() < 0.2
    expected = table.query("what == 'expected'")
    assert (expected["low_m3_h"] <= expected["flow_m3_h"]).all()
    assert (expected["flow_m3_h"] <= expected["high_m3_h"]).all()


def test_the_hours_around_show_when_the_water_went(explained):
    course = explained.frame("hours-around").set_index("time")
    assert course.index[0] <= "2025-11-16T08:00:00Z" < course.index[-1]
    assert course.loc["2025-11-16T09:00:00Z", "flow_m3_h"] == pytest.approx(0.0, abs=0.2)
    assert course.loc["2025-11-16T07:30:00Z", "flow_m3_h"] > 2.0
    assert course.loc["2025-11-16T09:00:00Z", "power_w"] > 300


def test_every_picture_is_a_well_formed_svg_of_its_own_and_its_data_has_no_nan(explained):
    assert list(explained.pictures)[0] == "hours-around", "what happens within minutes is seen there first"
    for name in explained.pictures:
        drawn = ElementTree.fromstring(explained.svg(name))
        assert drawn.tag == "{http://www.w3.org/2000/svg}svg"
        assert "nan" not in explained.svg(name)
    json.dumps(explained.as_dict(), allow_nan=False)


def test_the_page_of_advice_is_of_the_cause_the_pump_and_the_motor(explained, facts, tmp_path):
    shut = replace(explained, finding=replace(FOUND, cause="closed-delivery"))
    for kind, danger in (("helical-rotor", "until something bursts"), ("multistage-centrifugal", "may scald")):
        at = replace(shut, facts=replace(facts, pump=replace(facts.pump, kind=kind)))
        made = write_explanation(tmp_path / kind, at, ())
        page = next(path for path in made if path.name == "advice.txt").read_text()
        told = json.loads(made[0].read_text())["advice"]
        assert danger in told["cautions"][0]
        assert [
            page.index(said) for said in ("What can hurt", "What you can do yourself", "for a technician")
        ] == sorted(page.index(said) for said in ("What can hurt", "What you can do yourself", "for a technician"))
        joined = " ".join(page.split())
        assert all(one in joined for said in told.values() for one in said)
        assert all(len(line) <= 100 for line in page.splitlines())
    brushed = replace(
        shut,
        finding=replace(FOUND, cause="reverse-rotation"),
        facts=replace(facts, motor=replace(facts.motor, kind="brushed-dc")),
    )
    assert "exchange the motor's two leads" in brushed.advice.technician[0]


def test_review_and_explain_say_on_the_terminal_what_can_hurt(tmp_path, site_file, parquet, capsys):
    files = ["--site", str(site_file), "--readings", str(parquet)]
    assert main(["review", *files, "--out", str(tmp_path / "out"), "--no-pictures"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    found = json.loads((tmp_path / "out" / "findings.json").read_text())["findings"]
    assert said.count("beware: ") == len(found)
    assert all(f"wellhand explain --finding {one['id']}" in said for one in found)
    name = found[-1]["id"]
    where = ["--review", str(tmp_path / "out"), "--finding", name, "--format", "svg", "--out", str(tmp_path / "told")]
    assert main(["explain", *files, *where]) == 0
    said = " ".join(capsys.readouterr().out.split())
    told = json.loads((tmp_path / "told" / name / "finding.json").read_text())["advice"]
    assert all(one in said for sentences in told.values() for one in sentences)
    assert "1 finding explained" in said


def test_what_speaks_of_the_array_comes_first_for_its_causes(facts, frame):
    soiled = explain(facts, frame, replace(FOUND, cause="panel-soiling"))
    assert list(soiled.pictures)[:2] == ["array-share", "power-against-sun"]
    assert "water-by-day" not in soiled.pictures, "no days were given"


def test_a_meter_that_stands_still_while_its_steps_were_due_says_no_flow(facts):
    """At 200 L a step, one a row: after the last step nothing is known, until steps are missing."""
    coarse = replace(facts, sensors=replace(facts.sensors, meter_step_m3=0.2))
    minutes = np.arange(0, 240, 5)
    start = int(pd.Timestamp("2025-11-12T08:00:00Z").timestamp() * 1000)
    full = np.full(len(minutes), 1159.0)
    steps = 0.2 * (np.minimum(minutes, 120) // 5)
    values = {"input_power_w": full, "volume_m3": steps, "motor_running": np.ones(len(minutes))}
    plant, seen = columns_of(coarse, Rows(start + 60_000 * minutes, values))
    flow = flow_seen(plant, seen)
    assert np.isnan(seen.flow_m3_h[-5:]).all()
    assert (flow[-5:] == 0.0).all()
    assert flow[12] == pytest.approx(2.4)
    short = Rows(start + 60_000 * minutes[:26], {name: column[:26] for name, column in values.items()})
    assert np.isnan(flow_seen(*columns_of(coarse, short))[-1]), "one row after a step nothing is missing yet"


def test_the_readings_asked_for_do_not_overlap():
    spans = spans_around(FOUND, 2**50)
    assert all(start < stop for start, stop in spans)
    assert all(one[1] < two[0] for one, two in zip(spans, spans[1:], strict=False))
    long = replace(FOUND, ended=None)
    assert spans_around(long, 1_764_000_000_000)[-1][1] == 1_764_000_000_001


def test_the_days_shown_reach_from_before_it_began_to_now_where_it_lasts(explained):
    lasting = replace(explained.finding, began="2026-01-10T06:00:00Z", flagged="2026-01-12T06:00:00Z", ended=None)
    assert dates_around(lasting, ms_of("2026-03-20T12:00:00Z")) == ("2025-12-27", "2026-03-21")
    ended = replace(lasting, ended="2026-02-01T06:00:00Z")
    assert dates_around(ended, ms_of("2026-03-20T12:00:00Z"))[1] == "2026-02-02"


def test_review_writes_the_pictures_and_explain_the_same_from_its_folder_and_from_a_store(tmp_path, site_file, parquet):
    url, files = f"sqlite:///{tmp_path}/s.db", ["--site", str(site_file), "--readings", str(parquet)]
    assert main(["review", *files, "--out", str(tmp_path / "out"), "--store", url]) == 0
    found = json.loads((tmp_path / "out" / "findings.json").read_text())["findings"]
    assert found
    name = found[-1]["id"]
    pictures = tmp_path / "out" / "pictures" / name
    assert json.loads((pictures / "finding.json").read_text())["finding"] == found[-1]
    arguments = ["explain", *files, "--review", str(tmp_path / "out"), "--finding", name, "--format", "svg"]
    assert main([*arguments, "--out", str(tmp_path / "files")]) == 0
    assert [path.name for path in (tmp_path / "files").iterdir()] == [name]
    for path in pictures.iterdir():
        assert (tmp_path / "files" / name / path.name).read_bytes() == path.read_bytes(), path.name
    stored = ["explain", "--store", url, "--site", "north", "--format", "svg", "--out", str(tmp_path / "stored")]
    assert main(stored) == 0
    assert len(list((tmp_path / "stored").iterdir())) == len(found)
    both = [tmp_path / place / name / "flow-against-power.csv" for place in ("files", "stored")]
    if both[0].is_file():
        assert both[0].read_text() == both[1].read_text()


def test_a_new_review_forgets_the_pictures_of_the_last_and_nothing_else(tmp_path, site_file, parquet):
    out = tmp_path / "out"
    for name, file in (("gone", "finding.json"), ("mine", "notes.txt")):
        (out / "pictures" / name).mkdir(parents=True)
        (out / "pictures" / name / file).write_text("{}")
    assert main(["review", "--site", str(site_file), "--readings", str(parquet), "--out", str(out)]) == 0
    assert not (out / "pictures" / "gone").exists()
    assert (out / "pictures" / "mine" / "notes.txt").exists()


def test_no_pictures_where_none_are_wanted(tmp_path, site_file, parquet):
    arguments = ["review", "--site", str(site_file), "--readings", str(parquet), "--out", str(tmp_path / "out")]
    assert main([*arguments, "--no-pictures"]) == 0
    assert not (tmp_path / "out" / "pictures").exists()


def test_png_where_matplotlib_is_and_its_name_where_it_is_not(
    tmp_path, explained, monkeypatch, site_file, parquet, capsys
):
    pytest.importorskip("matplotlib", reason="draws PNG")
    made = write_explanation(tmp_path, explained, ("png",))
    for path in made:
        if path.suffix == ".png":
            assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert sum(path.suffix == ".png" for path in made) == len(explained.pictures)
    monkeypatch.setattr("analysis.explain_files.find_spec", lambda _name: None)
    arguments = ["explain", "--site", str(site_file), "--readings", str(parquet), "--out", str(tmp_path / "x")]
    assert main([*arguments, "--format", "png"]) == 2
    assert "matplotlib" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ([], "no readings\n    fix: --readings FILE"),
        (["--store", "sqlite:///{tmp}/empty.db"], "the store does not know it\n    fix: one of none"),
        (["--readings", "{readings}", "--finding", "nothing"], "no finding 'nothing'\n    fix: one of: "),
        (["--readings", "{readings}", "--review", "{tmp}/nowhere"], "cannot be read: No such file"),
        (["--readings", "{readings}", "--store", "sqlite://"], "brings its own readings"),
    ],
)
def test_what_cannot_be_explained_is_said(tmp_path, site_file, parquet, more, says, capsys):
    open_store(f"sqlite:///{tmp_path}/empty.db").close()
    filled = [text.format(tmp=tmp_path, readings=parquet) for text in more]
    assert main(["explain", "--site", str(site_file), "--out", str(tmp_path / "x"), *filled]) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


def test_a_finding_cannot_name_a_folder_elsewhere(tmp_path, explained):
    with pytest.raises(ValueError, match="cannot name a folder"):
        write_explanation(tmp_path / "in", replace(explained, finding=replace(FOUND, id="../out")))
    assert not (tmp_path / "out").exists()


def test_what_nothing_explains_names_the_channel_that_left_the_others(facts, frame):
    """From 16 November on the motor takes a fifth more current than the array's power says: that channel, and no other first."""
    began = pd.Timestamp("2025-11-16T00:00:00Z")
    drawn = frame.drop(frame.index[(frame["time"] > began) & (frame["time"] < began + pd.Timedelta("1D"))])
    rng = np.random.default_rng(7)
    drawn = drawn.assign(motor_current_a=drawn["pv_current_a"] * rng.normal(1.2, 0.02, len(drawn)))
    drawn["pv_current_a"] *= rng.normal(1.0, 0.02, len(drawn))
    drawn.loc[drawn["time"] >= began, "motor_current_a"] *= 1.2
    odd = replace(FOUND, cause="unexplained", began="2025-11-16T00:00:00Z", flagged="2025-11-18T12:00:00Z", ended=None)
    departed = explain(facts, drawn, odd).departed
    assert next(iter(departed)) == "motor_current_a"
    assert departed["motor_current_a"] > 4.0
    assert "departed" in explain(facts, drawn, odd).as_dict()
    assert not explain(facts, drawn, FOUND).departed
    assert not explain(facts, drawn, odd, with_departures=False).departed, "a page is wanted at once"


def test_a_channel_within_its_healthy_scatter_is_not_said_to_have_left() -> None:
    from analysis.commands.explain import _departed

    assert "Left what" not in _departed({"irradiance_w_m2": 1.1, "flow_m3_h": -0.4})
    told = _departed({"motor_current_a": 7.25, "flow_m3_h": -0.4})
    assert "motor_current_a +7.2" in told
    assert "flow_m3_h" not in told


def test_the_nearest_danger_is_one_that_who_lives_there_meets(facts):
    """Not that of opening boxes, which is for licensed people."""
    console = Console(width=400, record=True, file=StringIO())
    found = replace(FOUND, cause="cable-fault", channel=None, check="look")
    console.print(summary_of(Review(facts, 0, 60_000, 1, {}, None, (found,), ())))
    said = console.export_text()
    assert "beware: A splice leaking to earth can make the wellhead live" in said
    assert ": 1 row." in said
