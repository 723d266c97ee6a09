"""Tables as Parquet. Each column has its unit and its meaning as metadata."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from benchctl.errors import UsageError
from benchctl.export.tables import Column, Table

FORMAT = "benchctl export 1"


def parquet_files(tables: Sequence[Table]) -> dict[str, bytes]:
    """A file for each table.

    Raises:
        UsageError: pyarrow is not installed.
    """
    try:
        # Large, and only who asks for it has it.
        import pyarrow  # noqa: PLC0415
        import pyarrow.parquet  # noqa: PLC0415
    except ImportError as error:
        raise UsageError(
            f"Parquet files need pyarrow, which cannot be imported: {error}",
            advice="Install it with: python -m pip install 'benchctl[parquet]'. Or export --as csv.",
        ) from error
    return {f"{table.name}.parquet": _parquet(table, pyarrow) for table in tables}


def _parquet(table: Table, pyarrow: Any) -> bytes:
    schema = pyarrow.schema(
        [_field(column, pyarrow) for column in table.columns], metadata={"format": FORMAT, "table": table.name}
    )
    columns = list(zip(*table.rows, strict=True)) or [() for _ in table.columns]
    cells = [pyarrow.array(cells, type=field.type) for cells, field in zip(columns, schema, strict=True)]
    content = io.BytesIO()
    pyarrow.parquet.write_table(pyarrow.Table.from_arrays(cells, schema=schema), content)
    return content.getvalue()


def _field(column: Column, pyarrow: Any) -> Any:
    kinds = {
        "str": pyarrow.string(),
        "float64": pyarrow.float64(),
        "Int64": pyarrow.int64(),
        "bool": pyarrow.bool_(),
    }
    told = {"meaning": column.meaning} | ({"unit": column.unit} if column.unit else {})
    return pyarrow.field(column.name, kinds[column.kind], metadata=told)
