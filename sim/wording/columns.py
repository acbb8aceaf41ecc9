"""Every column of the result tables: its unit, what it says, and what it says where only a bound is known.

The one place where columns are described; which table has which stands in ``sim.counting.result_tables``.
"""

from typing import NamedTuple


class Column(NamedTuple):
    """Unit (empty for text, counts, shares and truth values), meaning, and what stands for nothing seen."""

    unit: str
    meaning: str
    unseen: str = ""


NOTHING_SEEN = "0 where nothing was seen: the truth is at most the upper limit"
_LEAST = "1 where nothing was seen: the truth is at least the lower limit"
_MBIT = "Mbit/year"
BOTH = "both directions together: lost when either is"

COLUMNS = {
    "service": Column("", "id of the service"),
    "hop": Column("", "id of the hop"),
    "site": Column("", "id of the site"),
    "crew": Column("", "base of the crew and its number there"),
    "kind": Column("", "kind of part"),
    "from": Column("", "id of the site at one end"),
    "to": Column("", "id of the site at the other end"),
    "direction": Column("", "forward is from the first site to the second, backward the other way"),
    "cause": Column("", "exact set of causes, joined by +"),
    "states": Column("", "modulation by the points of its constellation; 0 is down"),
    "scheme": Column("", "protection of the hop"),
    "protection": Column("", "how the service is routed"),
    "priority": Column("", "1 is served first"),
    "hops": Column("", "hops of the working route"),
    "month": Column("", "calendar month, 1 to 12"),
    "step": Column("", "textbook sum, the differences that lead on from it, simulated figure"),
    "committed_mbit_s": Column("Mbit/s", "rate that was sold"),
    "committed_backward_mbit_s": Column("Mbit/s", "the same backward"),
    "peak_mbit_s": Column("Mbit/s", "rate that the service asks for"),
    "peak_backward_mbit_s": Column("Mbit/s", "the same backward"),
    "length_km": Column("km", "length of the hop, or of the working route of a service"),
    "frequency_ghz": Column("GHz", "frequency of the first channel"),
    "capacity_mbit_s": Column("Mbit/s", "capacity of all working channels"),
    "unavailable_min_per_year": Column("min/year", f"unavailable time, {BOTH}", NOTHING_SEEN),
    "planned_min_per_year": Column(
        "min/year", "of the unavailable time, that with planned work among the causes"
    ),
    "below_committed_min_per_year": Column(
        "min/year", "time below the committed rate, though not down; of both ways, either way", NOTHING_SEEN
    ),
    "forward_unavailable_min_per_year": Column("min/year", "unavailable time of the forward direction"),
    "backward_unavailable_min_per_year": Column("min/year", "unavailable time of the backward direction"),
    "availability": Column("", "share of time available, 0 to 1", _LEAST),
    "availability_ratio": Column("", "share of time available, 0 to 1 (ITU-T G.827)", _LEAST),
    "severely_errored_s_per_year": Column(
        "s/year", "severely errored seconds in available time", NOTHING_SEEN
    ),
    "errored_s_per_year": Column("s/year", "errored seconds in available time"),
    "severely_errored_ratio": Column("", "severely errored seconds over available time", NOTHING_SEEN),
    "outages_per_year": Column("1/year", "unavailable periods (outage intensity)", NOTHING_SEEN),
    "mean_outage_s": Column("s", "mean length of an unavailable period; 0 where none was seen"),
    "longest_outage_s": Column("s", "longest unavailable period seen; 0 where there was none"),
    "worst_month_unavailable_min": Column(
        "min", "unavailable time of a year's worst month, mean over the years", NOTHING_SEEN
    ),
    "mean_time_between_outages_h": Column(
        "h",
        "from the start of one unavailable period to the start of the next",
        "infinite where none was seen: the truth is at least the lower limit",
    ),
    "mean_time_to_restore_s": Column(
        "s", "mean length of an unavailable period; not a number where none was"
    ),
    "mean_throughput_mbit_s": Column("Mbit/s", "mean rate delivered, of the worse direction"),
    "mean_capacity_mbit_s": Column("Mbit/s", "mean capacity, of the worse direction"),
    "rate_mbit_s": Column("Mbit/s", "rate of the service"),
    "exceeded_share": Column("", "share of time with at least this rate or capacity, 0 to 1"),
    "share": Column("", "share of the time or megabits of the same service, hop or priority, 0 to 1"),
    "committed_share": Column("", "undelivered share of all that is asked for at committed rates, 0 to 1"),
    "seconds_per_year": Column("s/year", "time below full capacity"),
    "hours_per_year": Column("h/year", "time with less than the peak rate"),
    "undelivered_mbit_per_year": Column(_MBIT, "asked for at the peak rate and not delivered", NOTHING_SEEN),
    "undelivered_committed_mbit_per_year": Column(
        _MBIT, "asked for at the committed rate and not delivered", NOTHING_SEEN
    ),
    "portion": Column("", "part of the reference path whose objectives hold (ITU-R F.1703)"),
    "availability_objective": Column("", "least share of time available, 0 to 1"),
    "allowed_min_per_year": Column("min/year", "unavailable time that the objective allows"),
    "severely_errored_ratio_objective": Column("", "most severely errored seconds over available time"),
    "outages_per_year_objective": Column("1/year", "most outages; not a number without an objective"),
    "share_of_years": Column("", "share of the years, 0 to 1"),
    "unavailable_min": Column(
        "min",
        "unavailable time of a year which that share of the years does not exceed",
        "an upper limit is infinite where the years are too few to tell",
    ),
    "target_min_per_year": Column("min/year", "unavailable time that the availability allows"),
    "year_break_chance": Column(
        "",
        "chance that a year breaks it, 0 to 1",
        "0 where no year did, 1 where every year did: the truth lies within the limits",
    ),
    "min_per_year": Column("min/year", "the step's minutes; the textbook sum has no chance in it"),
    "textbook_min_per_year": Column(
        "min/year", "unavailable time by the published standards alone: weather, parts, power, planned work"
    ),
    "latitude_deg": Column("degree", "latitude, WGS 84"),
    "longitude_deg": Column("degree", "longitude, WGS 84"),
    "east_km": Column("km", "east of the middle of the network on the local plane"),
    "north_km": Column("km", "north of the middle of the network on the local plane"),
    "failures_per_year": Column("1/year", "failures that began"),
    "latent_per_year": Column("1/year", "failures unseen at first"),
    "struck_per_year": Column("1/year", "failures by lightning"),
    "dark_per_year": Column("1/year", "times that the site was without power"),
    "dark_h_per_year": Column("h/year", "time without power"),
    "mains_lost_per_year": Column("1/year", "times that the mains failed"),
    "mains_lost_h_per_year": Column("h/year", "time without mains"),
    "maintenance_h_per_year": Column("h/year", "planned outage"),
    "unnoticed_h_per_year": Column("h/year", "failed and not noticed yet"),
    "waiting_for_spare_h_per_year": Column("h/year", "failed and waiting for a spare"),
    "waiting_for_crew_h_per_year": Column("h/year", "failed and waiting for a crew"),
    "travelling_h_per_year": Column("h/year", "failed while the crew travels"),
    "waiting_for_weather_h_per_year": Column(
        "h/year", "failed and waiting for daylight or the end of a storm"
    ),
    "mending_h_per_year": Column("h/year", "failed and being mended"),
    "visits_per_year": Column("1/year", "repairs that the crew went to"),
    "planned_per_year": Column("1/year", "planned visits of the crew"),
    "planned_h_per_year": Column("h/year", "time away for planned work, travel included"),
    "outage_min_per_year": Column(
        "min/year", "unavailable time of all services while such a failure was among the causes"
    ),
    "outage_share": Column("", "the same as a share of all services' unavailable time, 0 to 1"),
    "combining_loss_db": Column("dB", "losses of couplers and branching at both ends"),
    "fixed_loss_db": Column("dB", "further fixed losses of both ends and the path that the file states"),
    "power_reduction_db": Column("dB", "what power control takes off the received level in clear air"),
    "gas_loss_db": Column("dB", "attenuation by oxygen and water vapour"),
    "received_level_dbm": Column("dBm", "level at the receiver in clear air, at full power"),
    "threshold_dbm": Column(
        "dBm", "lowest level at which the modulation works, with the stated interference"
    ),
    "margin_db": Column("dB", "flat margin of that level over that threshold"),
    "rain_margin_db": Column(
        "dB", "rain attenuation that the path stands, wet antennas and cross-polar interference included"
    ),
    "rain_attenuation_001_db": Column("dB", "rain attenuation exceeded 0.01 % of the year (ITU-R P.530-18)"),
    "with_wet_snow_001_db": Column("dB", "the same of rain and wet snow at the hop's height"),
    "rain_min_per_year": Column("min/year", "outage by rain, noise and interference together"),
    "cross_polar_rain_min_per_year": Column("min/year", "outage by cross-polar interference in rain alone"),
    "multipath_occurrence": Column("", "multipath occurrence factor of ITU-R P.530"),
    "flat_worst_month": Column("", "share of the worst month in flat fades below the threshold"),
    "dispersive_worst_month": Column("", "share of the worst month lost to dispersive fades"),
    "cross_polar_worst_month": Column("", "share of the worst month lost to cross-polar interference"),
    "multipath_worst_month": Column("", "share of the worst month lost to multipath of all kinds"),
    "multipath_min_per_year": Column("min/year", "outage by multipath"),
    "equipment_min_per_year": Column("min/year", "outage by the parts of the hops, series and parallel"),
    "sites_min_per_year": Column("min/year", "outage by the common parts and the power of the sites"),
    "total_min_per_year": Column("min/year", "the sum; lightning has no part in it"),
    "place": Column("", "hop end, hop, site, base or depot"),
    "item": Column("", "what is paid for; journeys and used spares are as many a year as the run counted"),
    "type": Column("", "entry that it is made by, and band"),
    "count": Column("", "how many"),
    "once_each": Column("money", "price of one when it is bought; not a number where none is given"),
    "yearly_each": Column("money/year", "what one costs by the year; likewise"),
    "capital": Column("money", "paid when bought; not a number where the row has no price"),
    "yearly": Column("money/year", "paid by the year; likewise"),
    "present": Column(
        "money", "present sum of all payments of the stated life at the stated rate, renewals too; likewise"
    ),
    "penalty_per_year": Column("money/year", "penalties owed, mean over the years", NOTHING_SEEN),
    "penalty_bad_year": Column("money", "penalties that nine of ten years do not exceed"),
    "busy_share": Column(
        "",
        "the same in the hours in which a service that may cross the hop asks for as much as it ever does; "
        "empty without such hours",
    ),
    "undelivered_share": Column("", "what is not delivered of what is asked for, 0 to 1"),
    "undelivered_gbit_per_year": Column(
        "Gbit/year", "asked for at the peak rate and not delivered, both directions", NOTHING_SEEN
    ),
    "undelivered_value_per_year": Column(
        "money/year", "what that is worth; 0 where no value is stated", NOTHING_SEEN
    ),
    "plan": Column("", "name of the plan"),
    "base_min_per_year": Column("min/year", f"unavailable time without the plan, {BOTH}", NOTHING_SEEN),
    "plan_min_per_year": Column("min/year", f"unavailable time with the plan, {BOTH}", NOTHING_SEEN),
    "difference_min_per_year": Column("min/year", "with the plan less without, block by block"),
    "difference_ses_per_year": Column("s/year", "the same of severely errored seconds"),
    "weight": Column("", "of the service in the sum over all"),
    "difference_outages_per_year": Column("1/year", "the same of outages"),
    "difference_below_committed_min_per_year": Column(
        "min/year", "the same of time below the committed rate, though not down"
    ),
    "difference_undelivered_gbit_per_year": Column(
        "Gbit/year", "the same of what was asked for at peak rates and not delivered, both directions"
    ),
    "difference_penalty_per_year": Column(
        "money/year", "the same of penalties; not a number where none are stated"
    ),
    "difference_outage_cost_per_year": Column(
        "money/year", "the same of penalties and the value of what was not delivered; likewise"
    ),
    "base_count": Column("", "how many without the plan"),
    "plan_count": Column("", "how many with the plan"),
    "cost_per_year": Column(
        "money/year", "equal payment at each year's end that is worth the present sum; with less without"
    ),
    "rows_without_price": Column("", "changed rows of the bill that have no price and are left out"),
    "min_saved_per_cost": Column(
        "min", "weighted minutes saved for each unit of money of cost_per_year; not a number without a cost"
    ),
    "outage_cost_saved_per_cost": Column("", "penalties and values saved for each unit of money, likewise"),
    "undominated": Column("", "no other is as good in weighted minutes for less, or better for no more"),
    "rank": Column("", "1 is the best"),
    "rank_chance": Column("", "chance that it truly has its rank, by a bootstrap of blocks, 0 to 1"),
    "best_chance": Column("", "chance that it is truly the best, likewise"),
    "order_chance": Column("", "chance that the order of all is right, likewise"),
    "ranked_by": Column("", "what the rank goes by"),
    "services_added": Column("", "services that the network without the plan lacks"),
    "services_removed": Column("", "services that the plan removes"),
    "pairing_lost": Column("", "why weather or failures are not the same as without; empty where they are"),
    "bought": Column("", "candidates of the step or set"),
    "chosen": Column("", "whether it is in the set that is bought in the end"),
    "spent": Column("money", "present sum of this step and all before"),
    "left": Column(
        "as in column figure", "what services still lose a year; not a number where it was not simulated"
    ),
    "next_best": Column("", "what would else be bought at this step"),
    "next_best_left": Column("as in column figure", "what would then be lost"),
    "right_chance": Column("", "chance that the step saves more for its money than its next best, 0 to 1"),
    "set": Column("", "all that is bought in the end"),
    "blocks": Column("", "blocks that it was simulated for"),
    "guessed": Column("min/year or money/year", "what services would lose, as the search took it"),
    "target_chance": Column("", "how sure it is that the target is met; not a number without one"),
    "candidate": Column("", "what might be bought"),
    "changes": Column("", "hop, site, plant (power, spares, crews) or plan"),
    "without_price": Column("", "items of it that have no price and are left out of its cost"),
    "guessed_saved": Column("min/year or money/year", "what it would save by itself, as the search took it"),
    "sure": Column("", "whether the interval of the difference leaves out zero"),
    "target": Column("", "what never goes wrong: a hop, site, part, kind or cause"),
    "saved_min_per_year": Column("min/year", "unavailable time saved had it never gone wrong"),
    "below_saved_min_per_year": Column(
        "min/year", "time below committed saved likewise; below 0 where time down became time below committed"
    ),
    "contract": Column("", "id of the contract, or of a service without one"),
    "services": Column("", "ids of its services"),
    "figure": Column("", "what is compared"),
    "period": Column("", "calendar year or month that must keep it"),
    "contract_years": Column("", "years of the contract"),
    "asked": Column("as in column unit", "what the term asks for; not a number without"),
    "kept": Column("", "yes or no for sure, open where the years cannot tell; empty where nothing is asked"),
    "mean": Column("as in column unit", "mean over years, of the worst period of each"),
    "median": Column("as in column unit", "median of the simulated years"),
    "worst": Column("as in column unit", "worst simulated year"),
    "can_be_promised": Column(
        "as in column unit",
        "what every period of the contract keeps with the chance and confidence asked for",
        "infinite or not a number where the years are too few to tell",
    ),
    "rests_on": Column("", "replications of failures beside the simulated years, or these alone"),
    "contract_break_chance": Column(
        "",
        "chance that any year of the contract breaks the target, 0 to 1",
        "0 where no year did, 1 where every year did: the truth lies within the limits",
    ),
    "unit": Column("", "unit of the figure"),
    "predicted": Column("as in column unit", "the figure by its standard"),
    "simulated": Column("as in column unit", "the figure of the run"),
    "ratio": Column("", "simulated over predicted"),
    "standard_error": Column(
        "", "of the ratio, from independent blocks; not a number where too little was seen"
    ),
    "in_range": Column("", "whether the Recommendation claims to hold there"),
    "best_mbit_s": Column("Mbit/s", "highest rate that is ever had"),
    "mbit_s": Column("Mbit/s", "rate"),
    "mean_mbit_s": Column("Mbit/s", "mean rate"),
    "difference_mbit_s": Column("Mbit/s", "mean rate, fixed modulation less adaptive, block by block"),
    "below_best_min_per_year": Column(
        "min/year", "time with less than the best rate of this modulation", NOTHING_SEEN
    ),
    "steps_per_year": Column("1/year", "changes of capacity, either direction", NOTHING_SEEN),
    "weather_unavailable_min_per_year": Column(
        "min/year", "unavailable time by weather alone, equipment always in order", NOTHING_SEEN
    ),
    "weather_below_best_min_per_year": Column(
        "min/year", "time with less than the best rate, likewise", NOTHING_SEEN
    ),
    "weather_steps_per_year": Column("1/year", "changes of capacity, likewise", NOTHING_SEEN),
    "adaptive_below_min_per_year": Column(
        "min/year", "time in which adaptive modulation has less than that rate", NOTHING_SEEN
    ),
    "difference_undelivered_mbit_per_year": Column(
        _MBIT, "undelivered of the peak rates, fixed modulation less adaptive; only in rows of all causes"
    ),
    "difference_undelivered_committed_mbit_per_year": Column(
        _MBIT,
        "undelivered of the committed rates, fixed modulation less adaptive; only in rows of all causes",
    ),
    "outages_weighed": Column(
        "",
        "outages that its figure rests on, weighed by length: n if alike, 1 if one outlasts all others",
    ),
    "number": Column("", "1 is the longest"),
    "began": Column("", "date and time (UTC); years are counted through the run, from 1"),
    "duration_s": Column("s", "length of the outage"),
    "block": Column("", "block of the run in which it came, from 0"),
    "start_s": Column("s", "second of the block in which it began"),
}
"""Name to words; those of one table that mean something else are in ``table_columns.IN_TABLE``."""

_SHARES = {"99": "99 %", "99_9": "99.9 %", "99_99": "99.99 %", "99_999": "99.999 %"}
COLUMNS |= {
    f"{rate}_{ending}_mbit_s": Column(
        "Mbit/s", f"{rate} had for at least {share} of the time, worse direction"
    )
    for rate in ("throughput", "capacity")
    for ending, share in _SHARES.items()
}
for _name, _what in (
    ("availability", "the unavailable time"),
    ("severely_errored", "the ratio"),
    ("outages", "the outages"),
):
    COLUMNS[f"{_name}_met"] = Column("", f"whether {_what} found keeps the objective")
    COLUMNS[f"{_name}_met_confidence"] = Column(
        "", "how sure it is that the long run does, 0 to 1; not a number without an objective"
    )
    COLUMNS[f"{_name}_source"] = Column("", "where the objective comes from; empty where there is none")
COLUMNS |= {
    f"mbit_s_{ending}": Column("Mbit/s", f"rate had for at least {share} of the time")
    for ending, share in _SHARES.items()
}
