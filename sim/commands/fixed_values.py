"""Constants that decide a result and are no field of the network file, each with the reason.

The list is ``guide/constants.csv``. A page of the guide shows it; a test finds constants that are missing.
"""

import csv
import importlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple


class Fixed(NamedTuple):
    """A constant of a module of ``hopyears``, its unit, what it is and why it is no field."""

    module: str
    name: str
    unit: str
    meaning: str
    reason: str

    @property
    def value(self) -> Any:
        """What the module says now."""
        return getattr(importlib.import_module(f"hopyears.{self.module}"), self.name)


def _read() -> Iterator[Fixed]:
    path = Path(__file__).parents[1] / "guide" / "constants.csv"
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            yield Fixed(**row)


FIXED = tuple(_read())
