"""The review: the contract's files whole or not at all, the same for any order, and for rows up to any instant."""

import json
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from analysis import review_files, review_season
from analysis.review_run import review
from analysis.store import StoreError, open_store
from analysis.tables_in import FilesError
from logger.cli import main
from logger.record.site_file import SiteFileError

KEYS = {"id", "revision", "cause", "first_cause", "part", "channel", "began", "flagged", "ended", "confidence", "also_possible",
        "size", "water_lost_m3", "evidence", "check"}  # fmt: skip


@pytest.fixture
def parquet(tmp_path, frame):
    """The frame as a file."""
    frame.to_parquet(tmp_path / "readings.parquet", index=False)
    return tmp_path / "readings.parquet"


def test_findings_and_tables_as_the_contract_says(tmp_path, site_file, frame, parquet, capsys):
    assert main(["review", "--site", str(site_file), "--readings", str(parquet), "--out", str(tmp_path / "out")]) == 0
    found = json.loads((tmp_path / "out" / "findings.json").read_text())
    assert (found["site"], found["from"], found["to"]) == ("north", "2025-11-01T00:00:00Z", "2025-11-21T23:55:00Z")
    assert found["readings"]["rows"] == len(frame)
    assert found["readings"]["dropped"] == {"duplicate": 0, "conflicting": 0, "unreadable": 0}
    assert 0.9 < found["readings"]["coverage"] < 1.0
    assert all(set(finding) >= KEYS for finding in found["findings"])
    silent = [finding for finding in found["findings"] if finding["cause"] == "silent"]
    assert [finding["began"][:10] for finding in silent] == ["2025-11-09"]
    days = pd.read_csv(tmp_path / "out" / "daily.csv")
    assert len(days) >= 20
    assert days["water_m3"].sum() == pytest.approx(frame["volume_m3"].iloc[-1], rel=0.1)
    pd.testing.assert_frame_equal(days, pd.read_parquet(tmp_path / "out" / "daily.parquet"), check_dtype=False)
    names = ["daily.csv", "daily.parquet", "findings.json", "pictures"]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == names
    said = capsys.readouterr().out
    for words in ("Sample site (north)", "silent", "since 2025-11-09", "how sure", "check first", "Written to"):
        assert words in said


def as_findings(reviewed) -> list[dict]:
    """Findings as plain objects."""
    return [finding.as_dict() for finding in reviewed.findings]


def test_any_order_and_doubles_give_the_same_findings(facts, frame):
    straight = review_season(facts, frame)
    assert straight.findings
    mixed = pd.concat([frame.sample(frac=1, random_state=3), frame.sample(frac=0.1, random_state=4)])
    again = review_season(facts, mixed)
    assert as_findings(again) == as_findings(straight)
    assert again.days == straight.days
    assert again.dropped["duplicate"] == len(mixed) - len(frame)


def test_a_review_up_to_an_instant_flags_what_the_whole_flagged_by_then(facts, frame):
    whole = review_season(facts, frame)
    for day in (9, 12, 16, 19):
        instant = datetime(2025, 11, day, 15, 30, tzinfo=UTC)
        part = review_season(facts, frame[frame["time"] <= instant], to_time=instant)
        bound = instant.isoformat().replace("+00:00", "Z")
        by_then = {(one.id, one.flagged, one.first_cause) for one in whole.findings if one.flagged <= bound}
        assert {(one.id, one.flagged, one.first_cause) for one in part.findings} == by_then, day


def test_from_and_to_bound_the_rows(tmp_path, site_file, parquet):
    arguments = ["review", "--site", str(site_file), "--readings", str(parquet), "--out", str(tmp_path / "out")]
    span = ["--from", "2025-11-05T00:00:00Z", "--to", "2025-11-10T02:00:00+02:00"]
    assert main([*arguments, *span]) == 0
    found = json.loads((tmp_path / "out" / "findings.json").read_text())
    assert (found["from"], found["to"]) == ("2025-11-05T00:00:00Z", "2025-11-10T00:00:00Z")
    assert main([*arguments, "--from", "2027-01-01T00:00:00Z"]) == 2


def test_several_sites_by_file_name_by_column_and_by_order(tmp_path, site_file, frame):
    other = tmp_path / "south.toml"
    other.write_text(site_file.read_text().replace('"north"', '"south"'))
    few = frame.iloc[: 3 * 288]
    few.to_parquet(tmp_path / "south-season.parquet")
    frame.iloc[: 2 * 288].to_parquet(tmp_path / "north.parquet")
    both = pd.concat([few.assign(site="south"), frame.iloc[: 2 * 288].assign(site="north")])
    both.to_csv(tmp_path / "both.csv", index=False)
    few.to_parquet(tmp_path / "a.parquet")
    frame.iloc[: 2 * 288].to_parquet(tmp_path / "b.parquet")
    for given in (["north.parquet", "south-season.parquet"], ["both.csv"], ["a.parquet", "b.parquet"]):
        out = tmp_path / "out" / given[0]
        assert review([other, site_file], [tmp_path / name for name in given], out) == 0
        rows = {
            site: json.loads((out / site / "findings.json").read_text())["readings"]["rows"]
            for site in ("north", "south")
        }
        assert rows == {"north": 2 * 288, "south": 3 * 288}, given
    with pytest.raises(FilesError, match="whose readings\\? 2 sites and 1 files were named"):
        review([other, site_file], [tmp_path / "a.parquet"], tmp_path / "never")
    both.assign(site="west").to_csv(tmp_path / "both.csv", index=False)
    with pytest.raises(FilesError, match="names 'west', which no --site describes"):
        review([other, site_file], [tmp_path / "both.csv"], tmp_path / "never")
    assert not (tmp_path / "never").exists()


def test_wrong_input_is_said_whole_and_leaves_nothing_behind(tmp_path, site_file, frame, capsys):
    frame.rename(columns={"volume_m3": "volume"}).to_csv(tmp_path / "r.csv", index=False)
    (tmp_path / "wrong.toml").write_text("[site]\n")
    before = sorted(tmp_path.iterdir())
    for site, readings in ((site_file, "r.csv"), (tmp_path / "wrong.toml", "r.csv"), (site_file, "nowhere.csv")):
        arguments = [
            "review",
            "--site",
            str(site),
            "--readings",
            str(tmp_path / readings),
            "--out",
            str(tmp_path / "out"),
        ]
        assert main(arguments) == 2
        said = capsys.readouterr().err
        assert "\n    fix: " in said
        assert "Nothing was" in said
        assert sorted(tmp_path.iterdir()) == before


def test_readings_of_another_site_are_refused(tmp_path, site_file, frame):
    frame[["time"]].assign(tank_level_m=1.0).to_parquet(tmp_path / "r.parquet")
    with pytest.raises(FilesError, match="does this site file belong to these readings"):
        review([site_file], [tmp_path / "r.parquet"], tmp_path / "out")


def test_a_disk_that_fails_leaves_the_last_review_whole(tmp_path, site_file, parquet, monkeypatch):
    out = tmp_path / "out"
    review([site_file], [parquet], out)
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}

    def fails(*_args, **_more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pd.DataFrame, "to_parquet", fails)
    with pytest.raises(FilesError, match="cannot be written: No space left on device"):
        review([site_file], [parquet], out, to_ms=int(1000 * datetime(2025, 11, 5, tzinfo=UTC).timestamp()))
    assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_kept_in_the_store_it_says_the_same(tmp_path, site_file, frame, parquet):
    url = f"sqlite:///{tmp_path}/wellhand.db"
    assert review([site_file], [parquet], tmp_path / "out", store_url=url) == 0
    written = json.loads((tmp_path / "out" / "findings.json").read_text())["findings"]
    store = open_store(url)
    kept = [json.loads(json.dumps(one.as_dict())) for one in store.findings("north")]
    assert sorted(kept, key=lambda one: one["id"]) == sorted(written, key=lambda one: one["id"])
    assert len(store.readings("north", 0, 1 << 60)) == len(frame)
    assert len(store.days("north", "2025-01-01", "2026-12-31")) >= 20
    assert store.now("north") is not None


def test_the_notebook_s_way_in(site_file, frame):
    by_index = frame.set_index("time").tz_convert("Africa/Johannesburg")
    assert as_findings(review_season(site_file, by_index)) == as_findings(review_season(site_file, frame))
    with pytest.raises(ValueError, match="no time zone"):
        review_season(site_file, frame.assign(time=frame["time"].dt.tz_localize(None)))
    with pytest.raises(ValueError, match="no rows to judge"):
        review_season(site_file, frame.iloc[:0])
    with pytest.raises(SiteFileError):
        review_season("nowhere.toml", frame)


@pytest.mark.parametrize("rows", [1, 2, 3])
def test_few_rows_or_none_of_value_are_no_error(facts, frame, rows):
    assert review_season(facts, frame.iloc[:rows]).rows == rows
    empty = frame.iloc[:rows].assign(**{name: np.nan for name in frame.columns if name != "time"})
    assert review_season(facts, empty).rows == rows


def test_a_time_without_offset_is_refused(capsys):
    arguments = ["review", "--site", "s", "--readings", "r", "--out", "o", "--to", "2026-01-01"]
    assert main(arguments) == 2
    assert capsys.readouterr().err == (
        "--to 2026-01-01: not a time with an offset\n    fix: --to 2026-01-31T00:00:00Z\n"
    )


def csv_of(frame: pd.DataFrame) -> str:
    return frame.assign(time=frame["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")).to_csv(index=False)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "file: empty"),
        ("time,volume_m3\n", "a header and no rows"),
        ("volume_m3,pv_voltage_v\n1,2\n", "time"),
        (lambda f: csv_of(f.rename(columns={"volume_m3": "zebra"})), "zebra"),
        (lambda f: csv_of(f.assign(pv_voltage_v=1000 * f["pv_voltage_v"])), "it looks like mV"),
        (lambda f: csv_of(f.assign(volume_m3=1000 * f["volume_m3"])), "it looks like litres"),
        (lambda f: csv_of(f.assign(pv_current_a=1000 * f["pv_current_a"])), "it looks like mA"),
        (lambda f: csv_of(f.assign(input_power_w=f["pv_voltage_v"] * f["pv_current_a"] / 1000)), "it looks like kW"),
        (lambda f: csv_of(f.assign(discharge_pressure_bar=80.0 + 100.0 * f["motor_running"])), "it looks like kPa"),
        (lambda f: csv_of(f.assign(water_level_m=4200.0 + f["motor_running"])), "it looks like cm"),
        (lambda f: csv_of(f.assign(irradiance_w_m2=f["pv_current_a"] / 7.0)), "it looks like kW/m2"),
        (
            lambda f: csv_of(f.assign(ambient_temp_c=77.0 + 20.0 * np.sin(np.arange(len(f)) / 46.0))),
            "it looks like degrees Fahrenheit",
        ),
        (
            lambda f: csv_of(f.rename(columns={"pv_voltage_v": "pv_current_a", "pv_current_a": "pv_voltage_v"})),
            "pv_current_a",
        ),
        (lambda f: csv_of(f.assign(**dict.fromkeys(f.columns[1:], "n/a"))), "none of the channels"),
        (lambda f: f.assign(time=f["time"].astype("int64") // 1000).to_csv(index=False), "'1761955200' cannot be read"),
        ("time,volume_m3\nyesterday,2\n", "'yesterday' cannot be read"),
        ("time,volume_m3\n2026-01-01T00:00:00Z,\n", "none of the channels"),
        (lambda f: csv_of(f[["time"]].assign(tank_level_m=1.0)), "does this site file belong to these readings"),
        (lambda f: csv_of(f[["time"]]), "no channel in it"),
        (lambda f: csv_of(f).replace("Z,", ","), "which time zone is it?"),
        (lambda f: csv_of(f).encode("utf-16"), "UTF-16"),
        (b"PK\x03\x04 and what an office program packs", "an Excel workbook"),
        (b"\x1f\x8b\x08 and what gzip packs", "is compressed"),
        (b"PAR1 and no table", "is a Parquet file that was cut short"),
        (b"PAR1 and no table PAR1", "is a damaged Parquet file"),
        (b"time,volume_m3\n2026-01-01T00:00:00Z,\xe9,1\n", "is not text in UTF-8: a byte 0xe9 stands in it"),
        (b"\x00\x01\x02", "neither text nor Parquet"),
    ],
    ids=[
        "empty",
        "header only",
        "no time",
        "unknown column",
        "wrong unit",
        "register in litres",
        "milliamperes",
        "kilowatts",
        "kilopascals",
        "centimetres",
        "kilowatts a square metre",
        "Fahrenheit",
        "columns exchanged",
        "nothing but text",
        "seconds since 1970",
        "one row, no time",
        "one row, no value",
        "another site's",
        "time only",
        "no time zone",
        "UTF-16",
        "workbook",
        "compressed",
        "Parquet cut short",
        "damaged Parquet",
        "another alphabet",
        "bytes",
    ],
)
def test_bad_readings_are_refused_by_the_command(tmp_path, site_file, frame, capsys, content, words):
    """In clear words with a fix, exit code 2; nothing half-written, and a review that was there stays as it was."""
    readings, out = tmp_path / "r.csv", tmp_path / "out"
    arguments = ["review", "--site", str(site_file), "--readings", str(readings), "--out", str(out), "--no-pictures"]
    made = content(frame) if callable(content) else content
    readings.write_bytes(made if isinstance(made, bytes) else made.encode())
    for earlier in (None, "of an earlier review"):
        if earlier is not None:
            out.mkdir()
            (out / "findings.json").write_text(earlier)
        before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
        assert main(arguments) == 2
        said = capsys.readouterr()
        assert words in said.err
        assert "\n    fix: " in said.err
        assert "Traceback" not in said.err
        assert "Exception" not in said.err
        assert "Nothing was written" in said.err
        assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_one_bad_file_among_good_ones_and_what_is_no_file_at_all(tmp_path, site_file, frame, capsys):
    """All or nothing, and a folder in the place of a file, or a file in that of a folder, is said."""
    (tmp_path / "good.csv").write_text(csv_of(frame.iloc[:300]))
    (tmp_path / "bad.csv").write_text("")
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "file").write_text("kept")
    before = {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}
    for second, out, words in (
        ("bad.csv", "out", "bad.csv: file: empty"),
        ("folder.csv", "out", "Is a directory"),
        ("nowhere.csv", "out", "No such file"),
        ("good.csv", "file", "--out: is a file"),
    ):
        readings = [part for name in ("good.csv", second) for part in ("--readings", str(tmp_path / name))]
        assert main(["review", "--site", str(site_file), *readings, "--out", str(tmp_path / out)]) == 2
        said = capsys.readouterr().err
        assert words in said
        assert "\n    fix: " in said
        assert {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")} == before


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda _: b"", "delivery: table missing"),
        (lambda _: b"\xff\xfe\x00\x01", "not UTF-8 text"),
        (lambda text: text.replace("altitude_m = ", "altitude_m = nan #").encode(), "expected a number of m, got nan"),
        (
            lambda text: text.replace("modules_in_series = ", "modules_in_series = 1").encode(),
            "array.modules_in_series",
        ),
        (lambda text: text.replace("[pump]", "[pmup]").encode(), "pmup"),
        (lambda text: text.replace('"helical-rotor"', '"helical"').encode(), "helical-rotor"),
    ],
    ids=["empty", "binary", "not a number", "does not fit the readings", "unknown table", "unknown kind"],
)
def test_a_site_file_that_cannot_be_right_or_does_not_fit_is_refused(
    tmp_path, site_file, parquet, capsys, wrong, words
):
    """In words with a fix, exit code 2, nothing written."""
    (tmp_path / "wrong.toml").write_bytes(wrong(site_file.read_text()))
    assert (
        main(
            [
                "review",
                "--site",
                str(tmp_path / "wrong.toml"),
                "--readings",
                str(parquet),
                "--out",
                str(tmp_path / "out"),
            ]
        )
        == 2
    )
    said = capsys.readouterr().err
    assert words in said
    assert "\n    fix: " in said
    assert "Nothing was written" in said
    assert not (tmp_path / "out").exists()


def test_words_among_numbers_are_counted_and_the_rest_is_judged(tmp_path, site_file, frame, capsys):
    readings, out = tmp_path / "r.csv", tmp_path / "out"
    some = frame.iloc[:600].assign(motor_running=np.where(frame["motor_running"].iloc[:600] > 0, "ok", "--"))
    readings.write_text(csv_of(some))
    assert (
        main(["review", "--site", str(site_file), "--readings", str(readings), "--out", str(out), "--no-pictures"]) == 0
    )
    told = json.loads((out / "findings.json").read_text())["readings"]
    assert told["rows"] == 600
    said = " ".join(capsys.readouterr().out.split())
    assert "600 values of motor_running could not be true or be read; they count as missing." in said


def test_a_file_of_one_row_is_reviewed_and_says_nothing_it_cannot_know(tmp_path, site_file, frame):
    readings, out = tmp_path / "r.csv", tmp_path / "out"
    readings.write_text(csv_of(frame.iloc[120:121]))
    arguments = ["review", "--site", str(site_file), "--readings", str(readings), "--out", str(out), "--no-pictures"]
    assert main(arguments) == 0
    found = json.loads((out / "findings.json").read_text())
    assert found["findings"] == []
    assert found["readings"]["rows"] == 1
    assert (out / "daily.csv").is_file()


def test_channels_that_are_missing_are_no_error(tmp_path, site_file, frame):
    """A site file may promise more than a file of readings holds: what can be judged is."""
    readings, out = tmp_path / "r.csv", tmp_path / "out"
    readings.write_text(csv_of(frame[["time", "volume_m3"]]))
    arguments = ["review", "--site", str(site_file), "--readings", str(readings), "--out", str(out), "--no-pictures"]
    assert main(arguments) == 0
    assert json.loads((out / "findings.json").read_text())["readings"]["rows"] == len(frame)


def test_a_site_file_that_contradicts_itself_is_refused_before_anything_is_read(tmp_path, site_file, parquet, capsys):
    wrong, out = tmp_path / "wrong.toml", tmp_path / "out"
    text = site_file.read_text()
    wrong.write_text(text.replace("latitude_deg = -30.0", "latitude_deg = -300.0"))
    assert wrong.read_text() != text
    assert main(["review", "--site", str(wrong), "--readings", str(parquet), "--out", str(out)]) == 2
    said = capsys.readouterr().err
    assert "latitude_deg" in said
    assert "\n    fix: " in said
    assert not out.exists()


def test_a_store_that_cannot_be_opened_leaves_nothing_written(tmp_path, site_file, parquet):
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(StoreError):
        review([site_file], [parquet], tmp_path / "out", store_url=f"sqlite:///{tmp_path}/file/s.db")
    assert not (tmp_path / "out").exists()


def test_a_mistake_inside_the_engine_is_not_told_as_an_empty_span(tmp_path, site_file, parquet, monkeypatch):
    def broken(*_):
        raise ValueError("a bug")

    monkeypatch.setattr(review_files, "review_rows", broken)
    with pytest.raises(ValueError, match="a bug"):
        review([site_file], [parquet], tmp_path / "out")
