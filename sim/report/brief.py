"""One sheet of A4 for those who decide: one answer, one map, one figure."""

from typing import TYPE_CHECKING

from markupsafe import Markup

from hopyears.sim.report.drawing import look
from hopyears.sim.report.illustrations import map_picture, minutes_picture
from hopyears.sim.report.written import page_template
from hopyears.sim.wording import wording
from hopyears.sim.wording.answer import first_answer, judged
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.rows import worst_first

if TYPE_CHECKING:
    from hopyears.sim.runs.results import Results

ROWS_SHOWN = 12
"""Services, or hops, in the figure, the worst first."""

MAP_HEIGHT_IN = 4.6
"""Most that the map takes of the sheet's height, as the figure is drawn [inch]."""


def brief_page(results: "Results") -> str:
    """The sheet as HTML text."""
    noun, table, causes = judged(results.tables)
    sites, hops = results.tables["sites"], results.tables["hops"]
    shown = worst_first(table).head(ROWS_SHOWN)
    counts = wording.verdict_counts(table, wording.FIRST_ANSWER_LEVEL)
    with look():
        pictures = {
            "map": Markup(map_picture(hops, sites, most_in=MAP_HEIGHT_IN)),
            "minutes": Markup(minutes_picture(shown, name=noun)),
        }
    page: str = page_template("brief.html").render(
        title=results.manifest.get("title") or results.network.get("title") or "untitled network",
        run=results.manifest,
        years=int(results.manifest["years"]),
        answer=first_answer(table, causes, float(results.manifest["years"]), noun=noun),
        noun=noun,
        counts=counts,
        n=len(table),
        shown=len(shown),
        level=wording.level_name(wording.FIRST_ANSWER_LEVEL),
        pictures=pictures,
        caution=results.manifest.get("caution") or CAUTION,
    )
    return page
