"""Columns of CSV and Parquet files -> arrays. The quick way where a column is clean, value by value where it is not.

Flow: files.py -> HERE -> pyarrow.
Never: which columns there should be.
"""

import codecs
import re
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv, parquet

from logger.record.channels import channel_of
from logger.record.problems import FileError, Problem, worded

OFFSET = r"(?:Z|z|[+-]\d{2}(?::?\d{2})?)$"
PARQUET_MAGIC = b"PAR1"
CUT_SHORT = "is a Parquet file that was cut short"
COPY_AGAIN = "copy it again from where it came, whole, or export it again; CSV will do too"
PACKED = (
    (b"PK", "is an Excel workbook or a zip archive", "save it as CSV, or unpack it"),
    (b"\x1f\x8b", "is compressed", "unpack it: gunzip"),
    (b"\xff\xfe", "is text in UTF-16", "save it as CSV in UTF-8"),
    (b"\xfe\xff", "is text in UTF-16", "save it as CSV in UTF-8"),
    (
        b"<",
        "is a web page or XML",
        "open it and look: a page that asks for a password is often saved so; export the readings as CSV",
    ),
    (b"{", "is JSON", "export the readings as CSV or Parquet"),
    (b"[{", "is JSON", "export the readings as CSV or Parquet"),
    (b"\x89PNG", "is a picture", "name the file with the readings"),
    (b"%PDF", "is a PDF", "export the readings as CSV or Parquet"),
)
PARQUET_NAMES = (".parquet", ".pq")
CHUNK_BYTES = 1 << 20
COMMAS_SEEN = 100
ABOVE = re.compile(r"\ufeff?(#|sep=.\s*$|[\s,;]*$)", re.IGNORECASE)
COMMAS = (
    (re.compile(r"-?\d{1,3}(,\d{3})+\.\d+"), "has commas between thousands", "leave them out"),
    (re.compile(r"-?\d+,\d+"), "has a comma", "decimals take a point here: 1.5; or part the columns by semicolons, and commas are read"),
)  # fmt: skip
EPOCH = re.compile(r"\d{10}(\d{3})?(\.\d+)?")
DECIMAL_COMMA = re.compile(r"(?:^|[;\t])\s*-?\d+,\d+\s*(?:[;\t\r]|$)", re.MULTILINE)
TEXTS = ("time", "site", "boot", "clock")
WORDS = {"true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0, "on": 1.0, "off": 0.0}
NULL_TEXTS = ("", "null", "NULL", "None", "nan", "NaN", "NAN", "NA", "N/A", "n/a", "-")


class FilesError(FileError):
    """Files of readings that cannot be used; `problems` lists what is wrong, str() words it."""

    def __str__(self) -> str:
        return worded(self.problems, "Nothing was written.")


def refused(file: str, key: str, wrong: str, fix: str) -> FilesError:
    """The error that names file, column, what is wrong and the fix."""
    return FilesError([Problem(file, key, wrong, fix)])


def table_of(path: Path) -> pa.Table:
    """The whole file. FilesError: not there, empty, or not what its content promises."""
    try:
        with path.open("rb") as handle:
            head = handle.read(4)
        if not head:
            raise refused(path.name, "file", "empty", "export it again; it needs a header and rows")
        if PARQUET_MAGIC.startswith(head) and head != PARQUET_MAGIC:
            raise refused(path.name, "file", CUT_SHORT, COPY_AGAIN)
        if head != PARQUET_MAGIC:
            _judge_text(path, head)
        table = _parquet(path) if head == PARQUET_MAGIC else _csv(path)
    except OSError as error:
        raise refused(path.name, "file", f"cannot be read: {error.strerror or error}", "is the path right?") from None
    except (pa.ArrowException, UnicodeDecodeError) as error:
        if path.suffix.lower() in PARQUET_NAMES:
            raise refused(path.name, "file", "is named as Parquet and is none", COPY_AGAIN) from None
        if isinstance(error, UnicodeDecodeError):
            wrong = f"is not text in UTF-8: a byte 0x{error.object[error.start]:02x} stands in it"
            raise refused(path.name, "file", wrong, "save it as CSV in UTF-8, or as Parquet") from None
        if "Empty CSV" in str(error):
            raise refused(path.name, "file", "no table in it", "export it again; it needs a header and rows") from None
        raise refused(path.name, "file", f"cannot be read: {_first_line(error)}", "CSV in UTF-8, or Parquet") from None
    if not table.num_rows:
        raise refused(path.name, "file", "a header and no rows", "export it again with rows")
    return table


def _judge_text(path: Path, head: bytes) -> None:
    """FilesError: no text in UTF-8."""
    for magic, what, fix in PACKED:
        if head.startswith(magic):
            raise refused(path.name, "file", what, fix)
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as handle:
        while chunk := handle.read(CHUNK_BYTES):
            if "\0" in decoder.decode(chunk):
                raise refused(path.name, "file", "is neither text nor Parquet", "CSV in UTF-8, or Parquet")
        decoder.decode(b"", True)


def _parquet(path: Path) -> pa.Table:
    """FilesError: damaged, whatever its reader calls that."""
    try:
        return parquet.read_table(path)
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            raise
        with path.open("rb") as handle:
            handle.seek(-len(PARQUET_MAGIC), 2)
            whole = handle.read() == PARQUET_MAGIC
    raise refused(path.name, "file", "is a damaged Parquet file" if whole else CUT_SHORT, COPY_AGAIN)


def _first_line(error: Exception) -> str:
    return str(error).partition("\n")[0][:200]


def _csv(path: Path) -> pa.Table:
    """Columns typed where every value fits, texts elsewhere; lines with too few or too many values are left out."""
    skipped, separator, decimal = _separator(path)
    short: list[int] = []

    def left_out(_row: csv.InvalidRow) -> str:
        short.append(1)
        return "skip"

    table = csv.read_csv(
        path,
        read_options=csv.ReadOptions(block_size=1 << 24, skip_rows=skipped),
        parse_options=csv.ParseOptions(delimiter=separator, invalid_row_handler=left_out),
        convert_options=csv.ConvertOptions(
            null_values=list(NULL_TEXTS), strings_can_be_null=True, include_missing_columns=False,
            timestamp_parsers=[], column_types={name: pa.string() for name in TEXTS}, decimal_point=decimal,
        ),
    )  # fmt: skip
    names = [name.strip().lstrip("\ufeff") for name in table.column_names]
    table = table.rename_columns(names)
    if decimal == ",":
        table = _with_points(table)
    if short:
        table = _with_unreadable(table, len(short))
    return table


def _with_unreadable(table: pa.Table, rows: int) -> pa.Table:
    """Empty rows in place of broken lines, so that they are counted where times are judged."""
    empty = pa.table({name: pa.nulls(rows, table[name].type) for name in table.column_names})
    return pa.concat_tables([table, empty])


def _with_points(table: pa.Table) -> pa.Table:
    """Columns that stayed texts because of some value, with decimal points: they are read value by value."""
    for place, name in enumerate(table.column_names):
        if name not in TEXTS and pa.types.is_string(table[name].type):
            table = table.set_column(place, name, pc.replace_substring(table[name], ",", "."))
    return table


def _separator(path: Path) -> tuple[int, str, str]:
    """Lines above the header, what stands between values, and what before their decimals: where values are not parted by commas, a comma may.

    Above a header some programs write the separator (sep=;), remarks that begin with #, or leave lines empty.
    """
    above = 0
    with path.open("rb") as handle:
        header = handle.readline(CHUNK_BYTES).decode("utf-8", "replace")
        while header and ABOVE.match(header):
            above += 1
            header = handle.readline(CHUNK_BYTES).decode("utf-8", "replace")
        first = handle.read(CHUNK_BYTES).decode("utf-8", "replace")
    separator = max(",;\t|", key=header.count)
    return above, separator, "," if separator != "," and DECIMAL_COMMA.search(first) else "."


def times_of(file: str, column: pa.ChunkedArray) -> tuple[np.ndarray, np.ndarray]:
    """Milliseconds UTC, and which rows' times could be read. FilesError: times are not as the contract says."""
    if pa.types.is_timestamp(column.type):
        if column.type.tz is None:
            raise _no_offset(file, "a timestamp without time zone")
        ms = pc.cast(column, pa.timestamp("ms", "UTC"), safe=False)
        good = pc.is_valid(ms).to_numpy()
        return pc.fill_null(pc.cast(ms, pa.int64()), 0).to_numpy(), good
    if not (pa.types.is_string(column.type) or pa.types.is_large_string(column.type)):
        raise refused(
            file, "column time", f"holds {column.type}, not times", "ISO 8601 with an offset: 2026-01-31T12:00:00Z"
        )
    quick = _quick_times(column)
    return quick if quick is not None else _slow_times(file, column)


def _quick_times(column: pa.ChunkedArray) -> tuple[np.ndarray, np.ndarray] | None:
    try:
        parsed = pc.cast(column, pa.timestamp("ms", "UTC"))
    except pa.ArrowInvalid:
        return None
    return pc.fill_null(pc.cast(parsed, pa.int64()), 0).to_numpy(), pc.is_valid(parsed).to_numpy()


def _slow_times(file: str, column: pa.ChunkedArray) -> tuple[np.ndarray, np.ndarray]:
    import pandas as pd

    texts = column.to_pandas().astype("str").str.strip()
    with_offset = texts.str.contains(OFFSET, regex=True).to_numpy(bool)
    parsed = pd.to_datetime(texts.where(with_offset), utc=True, format="ISO8601", errors="coerce")
    good = parsed.notna().to_numpy()
    if not good.any() or np.count_nonzero(good) < 0.5 * len(texts):
        example = texts[~good].iloc[0]
        if re.match(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}", example) and not re.search(OFFSET, example):
            raise _no_offset(file, f"{example!r} has no offset")
        since = "; it looks like seconds since 1970: convert them" if EPOCH.fullmatch(example) else ""
        fix = f"ISO 8601 with an offset: 2026-01-31T12:00:00+02:00{since}"
        raise refused(file, "column time", f"{example!r} cannot be read", fix)
    milliseconds = parsed.dt.as_unit("ms").astype("int64").to_numpy()
    return np.where(good, milliseconds, 0), good


def _no_offset(file: str, wrong: str) -> Exception:
    return refused(
        file, "column time", f"{wrong}: which time zone is it?",
        "write the offset with each time: 2026-01-31T12:00:00+02:00, or Z for UTC",
    )  # fmt: skip


def numbers_of(column: pa.ChunkedArray, name: str, nulled: dict[str, int]) -> np.ndarray:
    """float64, NaN = null; texts that are no number, and infinities, become null and are counted under `name`."""
    kind = column.type
    if pa.types.is_null(kind):
        return np.full(len(column), np.nan)
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        numbers = _from_texts(column, name, nulled)
    else:
        try:
            numbers = pc.cast(column, pa.float64(), safe=False).to_numpy()
        except pa.ArrowException:
            nulled[name] = nulled.get(name, 0) + len(column)
            return np.full(len(column), np.nan)
    endless = np.isinf(numbers)
    if endless.any():
        nulled[name] = nulled.get(name, 0) + int(np.count_nonzero(endless))
        numbers = np.where(endless, np.nan, numbers)
    return numbers


def _from_texts(column: pa.ChunkedArray, name: str, nulled: dict[str, int]) -> np.ndarray:
    import pandas as pd

    texts = column.to_pandas()
    numbers = pd.to_numeric(texts, errors="coerce").astype("float64")
    if channel_of(name).kind == "flag":  # of what is measured "off" is no reading, and no 0
        numbers = numbers.fillna(texts.astype("str").str.strip().str.lower().map(WORDS))
    numbers = numbers.to_numpy()
    lost = int(np.count_nonzero(np.isnan(numbers) & texts.notna().to_numpy()))
    if lost:
        nulled[name] = nulled.get(name, 0) + lost
    return numbers


def judge_commas(file: str, column: pa.ChunkedArray, name: str) -> None:
    """FilesError: a column of texts that would all be numbers but for their commas."""
    if not (pa.types.is_string(column.type) or pa.types.is_large_string(column.type)):
        return
    texts = [text.strip() for text in column.drop_null().slice(0, COMMAS_SEEN).to_pylist() if text.strip()]
    for pattern, wrong, fix in COMMAS:
        if texts and pattern.fullmatch(texts[0]) and all("," not in text or pattern.fullmatch(text) for text in texts):
            raise refused(file, f"column {name}", f"{texts[0]!r} {wrong}", fix)


def texts_of(column: pa.ChunkedArray) -> np.ndarray:
    """Texts, '' where there is none."""
    return pc.fill_null(pc.cast(column, pa.string()), "").to_numpy().astype(object)
