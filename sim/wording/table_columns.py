"""What the columns of each result table mean."""

from collections.abc import Iterator

from hopyears.sim.counting.result_tables import ENDS, TABLES
from hopyears.sim.wording.columns import BOTH, COLUMNS, NOTHING_SEEN, Column

IN_TABLE = {
    ("service_years", "unavailable_min_high"): Column(
        "min",
        "upper limit of the 95 % interval of unavailable_min; infinite where the years are too few for one",
    ),
    ("importance", "kind"): Column("", "what the target is"),
    ("importance", "unavailable_min_per_year"): Column("min/year", "unavailable time as it was"),
    ("importance", "share"): Column("", "share of the time as it was"),
    ("levers", "kind"): Column("", "what the target is; as it is: nothing is spared"),
    ("levers", "contract_break_chance"): Column(
        "", "chance that any year of the contract breaks a term, 0 to 1"
    ),
    ("promise", "year_break_chance"): Column(
        "",
        "chance that a year breaks it, 0 to 1; not a number where nothing is asked",
        "0 where no year did, 1 where every year did: the truth lies within the limits",
    ),
    ("plans", "capital"): Column("money", "with the plan less without; not a number without prices"),
    ("plans", "yearly"): Column("money/year", "likewise, journeys and used spares too"),
    ("plans", "present"): Column("money", "likewise, over the stated life at the stated rate"),
    ("bill_differences", "capital"): Column(
        "money", "with the plan less without; not a number where a price is missing"
    ),
    ("bill_differences", "yearly"): Column("money/year", "likewise"),
    ("bill_differences", "present"): Column("money", "likewise, over the stated life"),
    ("purchases", "step"): Column("", "number of the step; 0 is the network as it is"),
    ("contenders", "simulated"): Column("min/year or money/year", "what they lose in the simulation"),
    ("purchases", "figure"): Column("", "what is lost: weighted minutes, or outage costs"),
    ("contenders", "best_chance"): Column(
        "", "chance that it is the best of these, by a bootstrap of blocks"
    ),
    ("contenders", "right_chance"): Column(
        "", "chance that the chosen set is truly the best of these, at least"
    ),
    ("difference_causes", "difference_min_per_year"): Column(
        "min/year", "with the plan less without, from the blocks as they were drawn"
    ),
    ("modulation_hops", "difference_min_per_year"): Column("min/year", "fixed modulation less adaptive"),
    ("modulation_services", "difference_min_per_year"): Column("min/year", "fixed modulation less adaptive"),
    ("modulation_undelivered", "cause"): Column("", "exact set of causes; all: the sum over causes"),
    ("modulation_undelivered", "share"): Column(
        "", "undelivered share of all that is asked for at peak rates"
    ),
    ("modulation_hop_modulations", "share"): Column("", "share of channel time, 0 to 1"),
    ("modulation_services", "undelivered_gbit_per_year"): Column(
        "Gbit/year", "asked for at the hour and not delivered, both directions together"
    ),
    ("modulation_service_modulations", "share"): Column("", "share of time, 0 to 1"),
    ("modulation_service_modulations", "states"): Column(
        "", "lowest modulation along the working route; 0 is down"
    ),
    ("service_targets", "availability"): Column("", "target, share of time, 0 to 1"),
    ("service_directions", "direction"): Column("", "forward, backward, or both: lost when either is"),
    ("service_directions", "unavailable_min_per_year"): Column(
        "min/year", "unavailable time of the direction", NOTHING_SEEN
    ),
    ("service_causes", "unavailable_min_per_year"): Column(
        "min/year", f"unavailable time with this cause, {BOTH}"
    ),
    ("hop_causes", "unavailable_min_per_year"): Column(
        "min/year", f"unavailable time with this cause, {BOTH}"
    ),
    ("service_causes", "severely_errored_s_per_year"): Column(
        "s/year", "severely errored seconds with this cause"
    ),
    ("service_months", "unavailable_min_per_year"): Column(
        "min/year", "unavailable time in all such months of an average year"
    ),
    ("priority_undelivered", "cause"): Column("", "exact set of causes; all: the sum over causes"),
    ("priority_undelivered", "share"): Column(
        "", "undelivered share of all that is asked for at peak rates, 0 to 1"
    ),
    ("hop_modulations", "share"): Column(
        "", "share of channel time, 0 to 1; 0 where the modulation was not seen"
    ),
    ("hop_capacity", "capacity_mbit_s"): Column("Mbit/s", "capacity"),
    ("predicted_hops", "planned_min_per_year"): Column("min/year", "planned work that stops either end"),
    ("predicted_services", "planned_min_per_year"): Column(
        "min/year", "planned work that stops a site of the route"
    ),
    ("service_undelivered", "below_committed_min_per_year"): Column(
        "min/year", "time below committed, though not down, with this cause"
    ),
    ("predicted_hops", "capacity_mbit_s"): Column(
        "Mbit/s", "capacity of all working channels at this modulation"
    ),
}
"""Words of a column that means something of its own in one table."""


def head_of(name: str) -> str:
    """Head of a column for readers, its unit as it is written: ``received level dBm``, ``total min/year``."""
    unit = COLUMNS[name].unit if name in COLUMNS else ""
    ending = "_" + unit.lower().replace("/year", "_per_year").replace("/", "_")
    if unit and name.endswith(ending):
        return f"{name.removesuffix(ending).replace('_', ' ')} {unit}"
    return name.replace("_", " ")


def described(table: str) -> Iterator[tuple[str, Column]]:
    """Every column of a table in its order, limits of intervals included, with its words.

    Raises
    ------
    KeyError
        If there is no such table.
    """
    interval = "interval at the confidence asked for" if table == "promise" else "95 % interval"
    for word in TABLES[table].columns.split():
        name = word.removesuffix("*")
        words = IN_TABLE.get((table, name)) or COLUMNS[name]
        yield name, words
        if name != word:
            for end, limit in zip(ENDS, ("lower", "upper"), strict=True):
                usual = Column(words.unit, f"{limit} limit of the {interval} of {name}")
                yield f"{name}{end}", IN_TABLE.get((table, f"{name}{end}"), usual)
