"""A file of readings, Parquet or CSV, to the sums that a fit needs: by DuckDB, out of core.

One pass groups the readings by the levels of all factors, which gives the units (edges, as a
rule); a second one groups the units that are alike. Memory is bounded: what does not fit goes to a
temporary folder, which is gone afterwards, however the work ends. Sums of squares are taken
about the mean (Welford 1962, Technometrics 4:419), after a value of the data was taken off.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sharpstats.errors import FitError
from sharpstats.model.reduce import MAX_COLUMNS
from sharpstats.model.spec import Term, listed, term_name
from sharpstats.model.sums import Sums

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

MEMORY = "2GB"
"""What the database may hold in memory before it writes to its temporary folder."""
THREADS = 2
READERS = {".parquet": "read_parquet(?)", ".csv": "read_csv(?, header = true, all_varchar = true)"}
"""How each kind of file is read. Cells of a CSV file stay text: the columns that are numbers are turned here."""


@dataclass(frozen=True, slots=True, eq=False)
class LargeFile:
    """An open file of readings.

    Attributes
    ----------
    base : DuckDBPyConnection
        The database, which holds nothing yet.
    path : Path
    rows : str
        The file's rows, in SQL, with a question mark for its name.
    columns : mapping of str to str
        Name and type of each column.
    """

    base: DuckDBPyConnection
    path: Path
    rows: str
    columns: Mapping[str, str]

    @property
    def header(self) -> int:
        """Rows of the file before the first with values."""
        return int(self.path.suffix.lower() == ".csv")

    def ask(self, question: str, *values: float | str) -> list[tuple[Any, ...]]:
        """Ask in SQL: ``{rows}`` stands for the file's rows, and a question mark before it for each value."""
        return self.base.execute(question.replace("{rows}", self.rows), [*values, literally(self.path)]).fetchall()


@contextmanager
def open_file(path: Path | str, memory: str = MEMORY) -> Iterator[LargeFile]:
    """Open a file of readings for questions in SQL.

    Parameters
    ----------
    path : path
        A Parquet or CSV file; its ending says which.
    memory : str
        Most memory that the database may use, for example ``500MB``.

    Yields
    ------
    LargeFile

    Raises
    ------
    FitError
        If the file cannot be read, or DuckDB is not installed.
    """
    path = Path(path)
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        raise FitError(f"{path.name} ends in neither {' nor '.join(READERS)}. Save the readings as one of these.")
    if not path.is_file():
        raise FitError(f"There is no file {path}.")
    with tempfile.TemporaryDirectory(prefix="sharpstats-") as spill, _database(memory, spill) as (base, trouble):
        try:
            described = base.execute(f"DESCRIBE SELECT * FROM {reader}", [literally(path)]).fetchall()
            yield LargeFile(base, path, reader, {str(row[0]): str(row[1]) for row in described})
        except trouble as error:
            raise FitError(f"{path.name} cannot be read: {str(error).splitlines()[0]}") from error


@contextmanager
def _database(memory: str, spill: str) -> Iterator[tuple[DuckDBPyConnection, type[Exception]]]:
    """Open an empty database in memory, which may spill into a folder; with the root of its errors."""
    try:
        import duckdb  # noqa: PLC0415  an extra that only large files need
    except ImportError:
        raise FitError(
            "A file that is too large to hold needs DuckDB: pip install 'sharpstats[large]'. "
            "Or read the file into a table and fit that."
        ) from None
    base = duckdb.connect(config={"threads": THREADS, "memory_limit": memory, "temp_directory": spill})
    base.execute("SET enable_progress_bar = false")  # it would go to the output, among the findings
    try:
        yield base, duckdb.Error
    except RuntimeError as error:
        if "interrupted" not in str(error).lower():
            raise
        raise KeyboardInterrupt from None  # what Ctrl-C becomes while a query runs
    finally:
        base.close()


def literally(path: Path) -> str:
    """Name a file so that no sign in it is taken for a pattern.

    Examples
    --------
    >>> literally(Path("what now?.csv"))
    'what now[?].csv'
    """
    return re.sub(r"([*?\[])", r"[\1]", str(path))


def quoted(name: str) -> str:
    """Name a column in SQL.

    Examples
    --------
    >>> print(quoted('the "good" edge'))
    "the ""good"" edge"
    """
    escaped = name.replace('"', '""')
    return f'"{escaped}"'


def read_sums(
    path: Path | str, response: str, fixed: Sequence[Term], random: Sequence[Term], covariates: Sequence[str] = (),
    *, memory: str = MEMORY,
) -> Sums:  # fmt: skip
    """Add up a file of readings.

    Parameters
    ----------
    path : path
        A Parquet or CSV file with one row a reading.
    response : str
        Column with the numbers to be explained.
    fixed, random : sequence of Term
    covariates : sequence of str
        Names among the fixed terms that are numbers.
    memory : str
        Most memory that the database may use.

    Returns
    -------
    Sums

    Raises
    ------
    FitError
        If the file cannot be read, a column is missing, holds a blank or something that is not a
        number, or a level of the finest random term comes with several levels of another factor.
    """
    names = tuple(dict.fromkeys(name for term in (*fixed, *random) for name in term))
    with open_file(path, memory) as file:
        missing = [name for name in (response, *names) if name not in file.columns]
        if missing:
            raise FitError(f"{file.path.name} has no column {listed(missing)}. Its columns are {listed(file.columns)}.")
        keys = {name: _key(file, name, name in covariates) for name in names}
        origin = _origin(file, response)
        _collect_units(file, number(file, response), keys.values(), origin)
        _check_readings(file, response)
        for place, (name, key) in enumerate(keys.items()):
            _check_filled(file, name, key, place, name in covariates)
        units = count(file, "units")
        levels = tuple(count(file, f"(SELECT DISTINCT {_places(names, term)} FROM units)") for term in random)
        _check_finest(file, names, random, levels, units)
        upper = [name for term, many in zip(random, levels, strict=True) if many != units for name in term]
        needed = dict.fromkeys([*(name for term in fixed for name in term), *upper])
        return _alike(file, response, [name for name in names if name in needed], names, levels, origin)


def number(file: LargeFile, name: str) -> str:
    """Value of a column as a number; NULL where it is none."""
    # Without `trim` the reader of CSV files tries the cast itself, and stops at the first text.
    column = f"trim({quoted(name)})" if file.columns[name] == "VARCHAR" else quoted(name)
    value = f"TRY_CAST({column} AS DOUBLE)"
    return f"CASE WHEN isfinite({value}) THEN {value} END"


def _key(file: LargeFile, name: str, covariate: bool) -> str:
    numbers = covariate or file.columns[name] in ("DOUBLE", "FLOAT")
    return number(file, name) if numbers else quoted(name)


def _origin(file: LargeFile, response: str) -> float:
    value = number(file, response)
    found = file.ask(f"SELECT {value} FROM {{rows}} WHERE {value} IS NOT NULL LIMIT 1")
    if not found and not file.ask("SELECT 1 FROM {rows} LIMIT 1"):
        raise FitError(f"{file.path.name} has no rows, so there is nothing to fit.")
    return float(found[0][0]) if found else 0.0


def _collect_units(file: LargeFile, value: str, keys: Iterable[str], origin: float) -> None:
    """Group the readings by the levels of all factors k0, k1, ...: table `units`."""
    columns = "".join(f"{key} AS k{place}, " for place, key in enumerate(keys))
    file.ask(
        f"""CREATE TEMP TABLE units AS
        SELECT * EXCLUDE (y), count(*) AS n, count(y) AS numbers, avg(y) AS mean, var_pop(y) * count(y) AS within
        FROM (SELECT {columns} {value} - ? AS y FROM {{rows}}) GROUP BY ALL""", origin,
    )  # fmt: skip


def _check_readings(file: LargeFile, response: str) -> None:
    bad = file.base.execute("SELECT CAST(sum(n) - sum(numbers) AS BIGINT) FROM units").fetchall()[0][0]
    if bad:
        row, value = _first(file, f"{number(file, response)} IS NULL", response)
        raise FitError(
            f"Column `{response}` of {file.path.name} has {bad:,} value(s) that are no finite number, the first "
            f"{value} in row {row:,}. Set such rows aside first."
        )


def _check_filled(file: LargeFile, name: str, key: str, place: int, covariate: bool) -> None:
    if file.base.execute(f"SELECT 1 FROM units WHERE k{place} IS NULL LIMIT 1").fetchall():
        row, value = _first(file, f"{key} IS NULL", name)
        what = f"holds {value}, which is no number," if covariate else "is blank"
        raise FitError(
            f"Column `{name}` of {file.path.name} {what} in row {row:,}. Fill it in, or set the row aside."
        )


def _first(file: LargeFile, condition: str, name: str) -> tuple[int, str]:
    """Number of the first row, not counting a header, for which a condition holds, and what a column says there."""
    found = file.ask(
        f"SELECT row, value FROM (SELECT row_number() OVER () AS row, ({condition}) AS meant, {quoted(name)} AS value "
        "FROM {rows}) WHERE meant LIMIT 1"
    )  # fmt: skip
    row, value = found[0]
    return int(row), "a blank" if value is None else repr(value)


def count(file: LargeFile, what: str) -> int:
    """Count the rows of a table of the database, or of a question in brackets."""
    return int(file.base.execute(f"SELECT count(*) FROM {what}").fetchall()[0][0])


def _places(names: Sequence[str], chosen: Iterable[str]) -> str:
    """Columns of `units` that hold some factors."""
    return ", ".join(f"k{names.index(name)}" for name in chosen)


def _check_finest(
    file: LargeFile, names: Sequence[str], random: Sequence[Term], levels: Sequence[int], units: int
) -> None:
    """Refuse edges that change their medium or blade where they are too many to be taken one by one."""
    if not levels or max(levels) == units or max(levels) <= MAX_COLUMNS:
        return
    term = random[levels.index(max(levels))]
    columns = _places(names, term)
    others = [name for name in names if name not in term]
    parts = "".join(f", count(DISTINCT k{names.index(name)})" for name in others)
    row = file.base.execute(f"SELECT {columns}{parts} FROM units GROUP BY {columns} HAVING count(*) > 1 "
                            f"ORDER BY {columns} LIMIT 1").fetchall()[0]  # fmt: skip
    several = [f"{n} levels of {name}" for name, n in zip(others, row[len(term) :], strict=True) if n > 1]
    raise FitError(
        f"{term_name(term)} {', '.join(map(str, row[: len(term)]))} comes with {' and '.join(several)}. Each "
        f"{term_name(term)} must have one level of every other factor: correct the rows, or give each its own name."
    )


def _alike(
    file: LargeFile, response: str, needed: Sequence[str], names: Sequence[str], levels: tuple[int, ...], origin: float
) -> Sums:
    """Group the units that are alike."""
    columns = "".join(f"k{names.index(name)}, " for name in needed)
    table = file.base.execute(
        f"""SELECT {columns} avg(mean) AS mean, CAST(n AS DOUBLE) AS size, CAST(count(*) AS DOUBLE) AS alike,
        var_pop(mean) * count(*) AS between, sum(within) AS within
        FROM units GROUP BY {columns} n ORDER BY {columns} n"""
    ).df()
    sums = {name: table.pop(name).to_numpy(dtype=float) for name in ("size", "alike", "between", "within")}
    return Sums(table=table.set_axis([*needed, response], axis=1), levels=levels, origin=origin, **sums)
