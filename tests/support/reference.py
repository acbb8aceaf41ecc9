"""Published check values, read from the CSV tables in tests/reference.

Each table holds one row per value with its source (Recommendation, edition, section), what computed it,
and how surely the formula is known; ``rel_tol`` is the agreement to ask of a correct program.
"""

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).resolve().parents[1] / "reference"
EXACT = 1e-12
"""Relative tolerance of a row marked ``exact``: rounding of the arithmetic only."""


def rows(csv_name: str, quantity: str | None = None, *, topic: str | None = None) -> list[dict[str, Any]]:
    """Rows of one table, in file order, with numbers in place of text.

    Parameters
    ----------
    csv_name : str
        Name of the table, with or without ``.csv``.
    quantity, topic : str, optional
        Keep only the rows of this quantity (or topic).

    Returns
    -------
    list of dict
        Keys as in the file, and: ``inputs`` a dict, ``value`` a float or (for several numbers) a list of
        floats, ``rel_tol`` a float.

    Raises
    ------
    LookupError
        If no row is left: a check that compares nothing must not pass.
    """
    kept = [
        dict(row)
        for row in _read(csv_name if csv_name.endswith(".csv") else f"{csv_name}.csv")
        if quantity in (None, row["quantity"]) and topic in (None, row["topic"])
    ]
    if not kept:
        raise LookupError(f"{csv_name}: no row with quantity {quantity!r} and topic {topic!r}")
    return kept


def cases(csv_name: str, quantity: str | None = None, *, topic: str | None = None) -> list[Any]:
    """The rows as pytest parameters, one case a row, named by the row's id."""
    return [pytest.param(row, id=row["id"]) for row in rows(csv_name, quantity, topic=topic)]


@cache
def _read(file_name: str) -> tuple[dict[str, Any], ...]:
    with (FOLDER / file_name).open(newline="", encoding="utf-8") as file:
        return tuple(_parsed(row) for row in csv.DictReader(file))


def _parsed(row: dict[str, str]) -> dict[str, Any]:
    parsed: dict[str, Any] = dict(row)
    parsed["inputs"] = json.loads(row["inputs"]) if row["inputs"] else {}
    numbers = [float(part) for part in row["value"].split(";")]
    parsed["value"] = numbers if ";" in row["value"] else numbers[0]
    parsed["rel_tol"] = EXACT if row["rel_tol"] == "exact" else float(row["rel_tol"])
    return parsed
