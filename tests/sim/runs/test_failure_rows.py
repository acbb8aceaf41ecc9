"""What of the failures is shown: rows that met anything, most outage first, under the heads of both texts."""

import pandas as pd
from synthetic_results import made_up_results

from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.runs.failure_rows import FAILURE_TABLES, PHASE_COLUMNS, failure_rows
from hopyears.sim.wording.rows import failure_tables

KINDS = FAILURE_TABLES[0]


def parts(**hours_and_outage):
    """Kinds of part by name with hours in each phase and minutes of outage."""
    return pd.DataFrame(
        [
            {
                "kind": kind,
                "failures_per_year": 0.0,
                **dict.fromkeys(PHASE_COLUMNS, hours),
                "outage_min_per_year": outage_min,
            }
            for kind, (hours, outage_min) in hours_and_outage.items()
        ]
    )


def test_rows_come_by_outage_then_hours_and_what_met_nothing_is_left_out():
    table = parts(mast=(0.0, 0.0), modem_card=(1.0, 2.0), radio=(3.0, 2.0), fan=(0.5, 0.0), line=(0.0, 9.0))
    rows = failure_rows({"part_failures": table}, KINDS)
    assert list(rows["shown_name"]) == ["line", "radio", "modem card", "fan"]
    assert list(rows["together_h_per_year"]) == [len(PHASES) * hours for hours in (0.0, 3.0, 1.0, 0.5)]
    assert failure_rows({"part_failures": table.iloc[:1]}, KINDS).empty


def test_every_column_is_in_the_tables_and_the_page_has_its_head():
    results = made_up_results()
    page = failure_tables(results.tables)
    for shown, table in zip(FAILURE_TABLES, page, strict=True):
        assert {*shown.counts.values(), *PHASE_COLUMNS, shown.name} <= set(
            results.tables[shown.table].columns
        )
        assert table["counts"] == list(shown.counts)
        assert table["caption"] == shown.caption
