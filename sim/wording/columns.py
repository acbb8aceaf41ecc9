"""Every column of every result table: its unit, what it says, and how a bound is told.

The one place where columns are described. A figure with an interval is named once, with a star in
``TABLES``, and stands for three columns: ``x``, ``x_low`` and ``x_high``.
"""

from collections.abc import Iterator
from typing import NamedTuple

ENDS = ("_low", "_high")
"""Endings of the limits of an interval."""


class Column(NamedTuple):
    """Unit (empty for text, counts, shares and truth values), meaning, and what stands for nothing seen."""

    unit: str
    meaning: str
    unseen: str = ""


class TableWords(NamedTuple):
    """What a row of a table is, and its columns; a star marks those with an interval."""

    row: str
    columns: str


NOTHING_SEEN = "0 where nothing was seen: the truth is at most the upper limit"
_LEAST = "1 where nothing was seen: the truth is at least the lower limit"
_MBIT = "Mbit/year"
_BOTH = "both directions together: lost when either is"

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
    "committed_mbit_s": Column("Mbit/s", "rate without which the service is down"),
    "peak_mbit_s": Column("Mbit/s", "rate that the service asks for"),
    "length_km": Column("km", "length of the hop, or of the working route of a service"),
    "frequency_ghz": Column("GHz", "frequency of the first channel"),
    "capacity_mbit_s": Column("Mbit/s", "capacity of all working channels"),
    "unavailable_min_per_year": Column("min/year", f"unavailable time, {_BOTH}", NOTHING_SEEN),
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
    "unavailable_min_per_year_controlled": Column(
        "min/year", "unavailable time, put right by what the blocks met (--control)", NOTHING_SEEN
    ),
    "saving": Column("", "how many times the years a run without control would need for the same interval"),
    "rain_known_min_per_year": Column("min/year", "long-run mean of the rain that the control knows"),
    "rain_known_standard_error": Column("min/year", "standard error of that mean"),
    "min_per_year": Column("min/year", "the step's minutes; the textbook sum has no chance in it"),
    "textbook_min_per_year": Column("min/year", "unavailable time by the published standards alone"),
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
    "total_min_per_year": Column("min/year", "the sum"),
    "plan": Column("", "name of the plan"),
    "base_min_per_year": Column("min/year", f"unavailable time without the plan, {_BOTH}", NOTHING_SEEN),
    "plan_min_per_year": Column("min/year", f"unavailable time with the plan, {_BOTH}", NOTHING_SEEN),
    "difference_min_per_year": Column("min/year", "with the plan less without, block by block"),
    "difference_ses_per_year": Column("s/year", "the same of severely errored seconds"),
    "sure": Column("", "whether the interval of the difference leaves out zero"),
    "number": Column("", "1 is the longest"),
    "began": Column("", "date and time (UTC); years are counted through the run, from 1"),
    "duration_s": Column("s", "length of the outage"),
    "block": Column("", "block of the run in which it came, from 0"),
    "start_s": Column("s", "second of the block in which it began"),
}
"""Name to words; those of one table that mean something else are in ``IN_TABLE``."""

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
    COLUMNS[f"{_name}_met_confidence"] = Column("", "how sure it is that the long run does, 0 to 1")
    COLUMNS[f"{_name}_source"] = Column("", "where the objective comes from; empty where there is none")

IN_TABLE = {
    ("service_targets", "availability"): Column("", "target, share of time, 0 to 1"),
    ("service_directions", "direction"): Column("", "forward, backward, or both: lost when either is"),
    ("service_directions", "unavailable_min_per_year"): Column(
        "min/year", "unavailable time of the direction", NOTHING_SEEN
    ),
    ("service_causes", "unavailable_min_per_year"): Column(
        "min/year", f"unavailable time with this cause, {_BOTH}"
    ),
    ("hop_causes", "unavailable_min_per_year"): Column(
        "min/year", f"unavailable time with this cause, {_BOTH}"
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
    ("predicted_hops", "capacity_mbit_s"): Column(
        "Mbit/s", "capacity of all working channels at this modulation"
    ),
}
"""Words of a column that means something of its own in one table."""

_OUTAGES = (
    "unavailable_min_per_year* availability* severely_errored_s_per_year* outages_per_year* mean_outage_s "
    "longest_outage_s"
)
_PHASES = (
    "unnoticed_h_per_year waiting_for_spare_h_per_year waiting_for_crew_h_per_year travelling_h_per_year "
    "waiting_for_weather_h_per_year mending_h_per_year outage_min_per_year outage_share"
)
_UNDELIVERED = "undelivered_mbit_per_year{0} undelivered_committed_mbit_per_year{0}"
_DIRECTION = "service direction"

TABLES = {
    "services": TableWords(
        "a service",
        f"service from to committed_mbit_s peak_mbit_s priority protection hops {_OUTAGES} "
        "errored_s_per_year worst_month_unavailable_min* "
        "forward_unavailable_min_per_year backward_unavailable_min_per_year "
        "mean_throughput_mbit_s throughput_99_mbit_s throughput_99_9_mbit_s throughput_99_99_mbit_s "
        "throughput_99_999_mbit_s textbook_min_per_year",
    ),
    "service_directions": TableWords(
        "a direction of a service",
        f"{_DIRECTION} availability_ratio* unavailable_min_per_year* severely_errored_s_per_year* "
        "outages_per_year* mean_time_between_outages_h* errored_s_per_year severely_errored_ratio* "
        "mean_time_to_restore_s",
    ),
    "service_causes": TableWords(
        "a service and an exact set of causes",
        "service cause unavailable_min_per_year severely_errored_s_per_year share",
    ),
    "service_months": TableWords("a service and a calendar month", "service month unavailable_min_per_year"),
    "service_throughput": TableWords(
        "a direction of a service and a rate", f"{_DIRECTION} rate_mbit_s exceeded_share"
    ),
    "service_undelivered": TableWords(
        "a direction of a service and an exact set of causes",
        f"{_DIRECTION} cause {_UNDELIVERED.format('')} hours_per_year share",
    ),
    "priority_undelivered": TableWords(
        "a priority and an exact set of causes, both directions together",
        f"priority cause {_UNDELIVERED.format('*')} share committed_share",
    ),
    "service_objectives": TableWords(
        "a service",
        "service length_km portion availability_objective allowed_min_per_year unavailable_min_per_year* "
        "availability_met availability_met_confidence availability_source severely_errored_ratio_objective "
        "severely_errored_ratio* severely_errored_met severely_errored_met_confidence "
        "severely_errored_source "
        "outages_per_year_objective outages_per_year* outages_met outages_met_confidence outages_source",
    ),
    "service_years": TableWords(
        "a service and a share of its years", "service share_of_years unavailable_min*"
    ),
    "service_targets": TableWords(
        "a service and an availability", "service availability target_min_per_year year_break_chance*"
    ),
    "service_controlled": TableWords(
        "a service of a run with --control",
        "service unavailable_min_per_year* unavailable_min_per_year_controlled* saving "
        "rain_known_min_per_year rain_known_standard_error",
    ),
    "textbook_distance": TableWords("a step of a service", "service step min_per_year*"),
    "hops": TableWords(
        "a hop",
        f"hop from to scheme length_km frequency_ghz capacity_mbit_s {_OUTAGES} mean_capacity_mbit_s "
        "capacity_99_mbit_s capacity_99_9_mbit_s capacity_99_99_mbit_s capacity_99_999_mbit_s "
        "textbook_min_per_year",
    ),
    "hop_causes": TableWords(
        "a hop and an exact set of causes", "hop cause seconds_per_year unavailable_min_per_year"
    ),
    "hop_modulations": TableWords("a direction of a hop and a modulation", "hop direction states share"),
    "hop_capacity": TableWords(
        "a direction of a hop and a capacity", "hop direction capacity_mbit_s exceeded_share"
    ),
    "sites": TableWords("a site", "site latitude_deg longitude_deg east_km north_km"),
    "part_failures": TableWords(
        "a kind of part", f"kind failures_per_year latent_per_year struck_per_year {_PHASES}"
    ),
    "site_failures": TableWords(
        "a site",
        "site failures_per_year dark_per_year dark_h_per_year mains_lost_per_year mains_lost_h_per_year "
        f"maintenance_h_per_year {_PHASES}",
    ),
    "crew_visits": TableWords(
        "a crew", f"crew visits_per_year planned_per_year planned_h_per_year {_PHASES}"
    ),
    "predicted_hops": TableWords(
        "a hop and a modulation, by the published standards",
        "hop scheme length_km frequency_ghz states capacity_mbit_s combining_loss_db gas_loss_db "
        "fixed_loss_db received_level_dbm threshold_dbm margin_db power_reduction_db rain_margin_db "
        "rain_attenuation_001_db with_wet_snow_001_db rain_min_per_year "
        "cross_polar_rain_min_per_year multipath_occurrence flat_worst_month "
        "dispersive_worst_month cross_polar_worst_month multipath_worst_month multipath_min_per_year "
        "equipment_min_per_year sites_min_per_year total_min_per_year",
    ),
    "predicted_services": TableWords(
        "a service, along its working route",
        "service hops rain_min_per_year multipath_min_per_year equipment_min_per_year sites_min_per_year "
        "total_min_per_year",
    ),
    "differences": TableWords(
        "a plan and a service",
        "plan service base_min_per_year* plan_min_per_year* difference_min_per_year* "
        "difference_ses_per_year* sure",
    ),
    "outages": TableWords("an outage of a service", "number began duration_s cause block start_s"),
}
"""Every result table by name: those of a run, of a prediction, of a comparison, and of ``worst_outages``."""


def described(table: str) -> Iterator[tuple[str, Column]]:
    """Every column of a table in its order, limits of intervals included, with its words.

    Raises
    ------
    KeyError
        If there is no such table.
    """
    for word in TABLES[table].columns.split():
        name = word.removesuffix("*")
        words = IN_TABLE.get((table, name)) or COLUMNS[name]
        yield name, words
        if name != word:
            for end, limit in zip(ENDS, ("lower", "upper"), strict=True):
                yield f"{name}{end}", Column(words.unit, f"{limit} limit of the 95 % interval of {name}")
