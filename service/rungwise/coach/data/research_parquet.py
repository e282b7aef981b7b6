"""The tables of the research export as Parquet, with the types and the codebook inside."""

from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

from rungwise.coach.data.research_tables import Column
from rungwise.errors import ServiceError

# The types of Arrow by the kinds of columns.
TYPES = {"text": "string", "yes_no": "bool_", "whole": "int64", "number": "float64"}


class NoParquet(ServiceError):
    """Parquet needs pyarrow, which is not installed here: pip install 'rungwise[research]'."""


def refuse_without_parquet() -> None:
    """NoParquet, unless pyarrow is installed."""
    try:
        import_module("pyarrow.parquet")
    except ImportError:
        raise NoParquet from None


def write_parquet(file: Path, columns: Sequence[Column], rows: Sequence[Mapping[str, Any]]) -> None:
    """One table; a missing value is a null. The same rows give the same bytes."""
    arrow: Any = import_module("pyarrow")
    parquet: Any = import_module("pyarrow.parquet")
    fields = [
        arrow.field(one.name, getattr(arrow, TYPES[one.kind])(), metadata=_about(one))
        for one in columns
    ]
    arrays = [
        arrow.array([_value(one, row.get(one.name)) for row in rows], field.type)
        for one, field in zip(columns, fields, strict=True)
    ]
    parquet.write_table(arrow.table(arrays, schema=arrow.schema(fields)), file)


def _value(column: Column, value: Any) -> Any:
    return value == "yes" if column.kind == "yes_no" and value is not None else value


def _about(column: Column) -> dict[str, str]:
    """What the codebook says of a column."""
    about = {"what": column.what, "unit": column.unit, "source": column.source}
    return about | ({"values": " ".join(column.values)} if column.values else {})
