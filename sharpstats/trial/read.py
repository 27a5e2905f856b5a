"""Files with readings -> a table of text. Nothing is interpreted here, everything repaired is told."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from sharpstats.columns import READINGS, Schema
from sharpstats.errors import TrialError
from sharpstats.trial.csvfile import read_csv_file
from sharpstats.trial.parquetfile import read_parquet_file
from sharpstats.trial.table import TextTable
from sharpstats.trial.workbook import read_workbook

SUFFIXES = (".csv", ".xlsx", ".ods", ".parquet")


def read_table(
    path: Path | str, known: Collection[str] = (), *, name: str = "", schema: Schema = READINGS
) -> TextTable:
    r"""Read a CSV, XLSX, ODS or Parquet file as a table of text.

    Parameters
    ----------
    path : path
        The file; its ending says what it is.
    known : collection of str
        Columns of the plan, beside those that every readings file may have; they help to find the header.
    name : str
        What to call the file, in `file` and in messages; left out: its own name.
    schema : Schema
        The columns that such a file may have.

    Returns
    -------
    TextTable

    Raises
    ------
    TrialError
        If the file cannot be read as a table of readings.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> _ = (folder / "readings.csv").write_text("edge;reading\ne1;152,5\n")
    >>> table = read_table(folder / "readings.csv")
    >>> table.frame
      edge reading          file  row
    0   e1   152,5  readings.csv    2
    >>> print(table.repairs[0])
    readings.csv: fields are separated by a semicolon, not a comma.
    """
    path = Path(path)
    name = name or path.name
    try:
        if path.suffix.lower() == ".csv":
            return read_csv_file(path, name, known, schema)
        if path.suffix.lower() in (".xlsx", ".ods"):
            return read_workbook(path, name, known, schema)
        if path.suffix.lower() == ".parquet":
            return read_parquet_file(path, name, known, schema)
    except OSError as error:
        raise TrialError(f"{name} cannot be read: {error.strerror or error}.") from error
    raise TrialError(f"{name} is neither CSV, XLSX, ODS nor Parquet. Save the readings as one of these.")
