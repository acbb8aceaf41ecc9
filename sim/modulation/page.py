"""The page of a study of modulation, in the style of the report."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from hopyears.sim.modulation.findings import ADAPTIVE
from hopyears.sim.modulation.pictures import Tables, drawn_figures
from hopyears.sim.report.drawing import inline_svg, look
from hopyears.sim.report.study_page import Section, TableOfPage, study_page
from hopyears.sim.wording.wording import Cell, difference, figure_and_ends, given, plural, records, signed

HEADINGS = {"hops": "Hops", "services": "Services", "undelivered": "Not delivered"}

_HEADS = (
    ("Name, states", "0 is adaptive"), ("Best", "Mbit/s"), ("Unavailable", "min a year"),
    ("Difference", "min a year, fixed less adaptive"), ("Mean", "Mbit/s"),
    ("Difference", "Mbit/s, fixed less adaptive"), ("99.99 %", "Mbit/s"),
)  # fmt: skip


def modulation_page(tables: Tables, manifest: Mapping[str, Any]) -> str:
    """The page as HTML text.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Of the study.
    manifest : mapping
        Of the study.
    """
    title = f"{manifest.get('title') or 'untitled network'}: adaptive against fixed modulation"
    with look():
        pictures = {
            name: (inline_svg(figure, name=name, description=caption), caption)
            for name, figure, caption in drawn_figures(tables, title)
        }
    sections = [
        Section(HEADINGS[name], (), picture, f"{caption.capitalize()}.", _tables(name, tables))
        for name, (picture, caption) in pictures.items()
    ]
    answer = [sentence for kind in ("service", "hop") for sentence in _answer(kind, tables[f"{kind}s"])]
    answer.append("Same weather, nights and failures in all; differences are paired, fixed less adaptive.")
    return study_page(title, "Modulations on the same random numbers", manifest, answer, sections)


def _answer(kind: str, cases: pd.DataFrame) -> list[str]:
    """What the highest fixed modulation costs against adaptive, over all."""
    fixed = cases[cases["states"] != ADAPTIVE]
    if fixed.empty:
        return []
    states = int(fixed["states"].max())
    own = fixed[fixed["states"] == states]
    minutes = float(own["difference_min_per_year"].sum())
    rate = float(own["difference_mbit_s"].mean())
    return [
        f"Fixed at {states} states instead of adaptive, {plural(len(own), kind)} together would have "
        f"{signed(minutes)} unavailable minutes a year and {signed(rate)} Mbit/s each in the mean."
    ]


def _tables(name: str, tables: Tables) -> list[TableOfPage]:
    if name not in ("hops", "services"):
        return []
    kind = name.removesuffix("s")
    rows = [(f"{row[kind]}, {int(row['states'])}", _cells(row)) for row in records(tables[name])]
    return [TableOfPage(f"Table: {name}", "With 95 % intervals below the figures.", _HEADS, rows)]


def _cells(row: Mapping[str, Any]) -> list[Cell]:
    fixed = row["states"] != ADAPTIVE
    none = ("", "")
    return [
        (given(row["best_mbit_s"]), ""),
        figure_and_ends(row, "unavailable_min_per_year"),
        difference(row, "difference_min_per_year") if fixed else none,
        (given(row["mean_mbit_s"]), ""),
        difference(row, "difference_mbit_s") if fixed else none,
        (given(row["mbit_s_99_99"]), ""),
    ]
