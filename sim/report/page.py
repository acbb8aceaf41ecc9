"""One web page from the results of a run: all of it stands in the file, and it reads without its script."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.report.drawing import look
from hopyears.sim.report.figures import FEW_OUTAGES
from hopyears.sim.report.illustrations import MOST_ROWS, illustrations
from hopyears.sim.report.page_rows import (
    MONTH_NAMES,
    MOST_WORST,
    Replays,
    longest_rows,
    month_rows,
    worst_month_sentence,
    worst_rows,
)
from hopyears.sim.report.written import page_template
from hopyears.sim.runs.failure_rows import OUTAGE_NOTE
from hopyears.sim.runs.objective_counts import objectives_summary
from hopyears.sim.wording import wording
from hopyears.sim.wording.answer import first_answer, judged, textbook_sentence
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.details import details
from hopyears.sim.wording.money_rows import ITEM_HEADS, cost_rows_of_run, item_rows, money_rows
from hopyears.sim.wording.names import for_readers, labels_of
from hopyears.sim.wording.rows import (
    cause_rows,
    failure_tables,
    hop_rows,
    objective_rows,
    rate_rows,
    service_rows,
    worst_first,
)

if TYPE_CHECKING:
    from hopyears.sim.runs.results import Results

OPTION_WORDS = {
    "rain": "rain",
    "multipath": "clear-air fading",
    "failures": "failures of equipment and power",
    "anchoring": "rain attenuation anchored to a law of each hop",
    "queues": "limited crews and spares",
    "replications": "histories of failures beside each block's own",
}
"""Options of a run in words."""

NOT_USED = {"replications": 0}
"""Values of options that say nothing."""

SOURCES_OF_OUTAGE = ("rain", "multipath", "failures")
"""Options whose absence the textbook sum does not know of."""


def report_page(results: "Results", *, run: str = "RUN", replays: Replays | None = None) -> str:
    """The page as HTML text.

    Parameters
    ----------
    results : Results
        Of a run with at least one finished block.
    run : str
        Folder of the run, for commands that the page names.
    replays : mapping, optional
        Pages of outages to which it links.
    """
    longest, labels = results.tables["longest_outages"], labels_of(results.network)["services"]
    results = for_readers(results)
    tables = results.tables
    objectives = tables["service_objectives"]
    services, causes = tables["services"], tables["service_causes"]
    noun, judged_table, judged_causes = judged(tables)
    worst = wording.records(worst_first(services))
    names = [str(row["service"]) for row in worst]
    years = float(results.manifest["years"])
    with look():
        pictures = {name: Markup(svg) for name, svg in illustrations(tables).items()}
    page: str = page_template("page.html").render(
        title=results.manifest.get("title") or results.network.get("title") or "untitled network",
        run=_run_facts(results.manifest, results.network),
        caution=results.manifest.get("caution") or CAUTION,
        answer=first_answer(judged_table, judged_causes, years, noun=noun),
        noun=noun,
        worst=worst_rows(noun, judged_table, judged_causes),
        more_than_worst=max(len(judged_table) - MOST_WORST, 0),
        months=month_rows(tables["service_months"], names[:MOST_ROWS]),
        month_names=MONTH_NAMES,
        few=FEW_OUTAGES,
        worst_month=worst_month_sentence(tables["service_months"]),
        longest=longest_rows(longest, run=run, replays=replays, labels=labels),
        textbook=textbook_sentence(services),
        counts=[
            {"level": wording.level_name(level), **wording.verdict_counts(services, level)}
            for level in wording.LEVELS
        ],
        level=wording.level_name(wording.FIRST_ANSWER_LEVEL),
        pictures=pictures,
        services=[service_rows(row) for row in worst],
        objectives=objective_rows(objectives),
        objectives_summary=objectives_summary(objectives),
        rates=[rate_rows(row) for row in worst],
        details=details(tables, names),
        money={
            "cost": cost_rows_of_run(results.network, tables["costs"]),
            "heads": ITEM_HEADS,
            "items": item_rows(tables["costs"]),
            "services": money_rows(tables["service_money"]),
        },
        causes=cause_rows(causes),
        hops=hop_rows(tables["hops"], tables["hop_causes"]),
        failures=failure_tables(tables),
        outage_note=OUTAGE_NOTE,
        phases=PHASES,
        warnings=list(results.manifest.get("warnings", ())),
        sizes={name: len(tables[name]) for name in ("sites", "hops", "services")},
    )
    return page


def rain_words(options: Mapping[str, Any], network: Mapping[str, Any]) -> str:
    """Which law the rain of the hops follows, in words; empty where rain was left out."""
    if options.get("rain") is False:
        return ""
    if options.get("anchoring") is False:
        return (
            "attenuation as the rain cells give it, without wet snow; no hop is anchored to a published law"
        )
    hops = network.get("hops", ())
    measured = sum(1 for hop in hops if hop.get("rain_exceedance_db"))
    snow = network.get("climate", {}).get("wet_snow", True)
    published = f"ITU-R P.530-18, {'2.4.1 and 2.4.2 (wet snow)' if snow else '2.4.1 (rain alone)'}"
    if measured == 0:
        return f"each hop is anchored to {published}"
    rest = f"; the other {len(hops) - measured} to {published}" if measured < len(hops) else ""
    return f"{measured} of {len(hops)} hops anchored to the measured percentiles in the network file{rest}"


def _run_facts(manifest: Mapping[str, Any], network: Mapping[str, Any]) -> dict[str, Any]:
    """What was simulated, in the order in which the page shows it."""
    options = manifest.get("options", {})
    on = [OPTION_WORDS.get(name, name) for name, value in options.items() if value is True]
    off = [
        OPTION_WORDS.get(name, name)
        for name, value in options.items()
        if value is False and name not in NOT_USED
    ]
    other = [
        f"{OPTION_WORDS.get(name, name)}: {value:g}"
        for name, value in options.items()
        if not isinstance(value, bool) and value != NOT_USED.get(name)
    ]
    return {
        "identity": manifest["identity"],
        "years": int(manifest["years"]),
        "blocks": manifest.get("blocks", ""),
        "block_years": manifest.get("block_years", ""),
        "seed": manifest["seed"],
        "network_file": manifest.get("network_file", ""),
        "command": manifest.get("command", ""),
        "rain": rain_words(options, network),
        "on": on,
        "off": off,
        "left_out": [OPTION_WORDS[name] for name in SOURCES_OF_OUTAGE if options.get(name) is False],
        "other": other,
        "versions": dict(manifest.get("versions", {})),
    }
