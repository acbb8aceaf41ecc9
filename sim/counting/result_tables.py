"""The tables of results: what a row of each is, and its columns in their order.

A figure with an interval is named once, with a star, and stands for three columns: ``x``, ``x_low`` and
``x_high``. What the columns mean stands in ``sim.wording``.
"""

from collections.abc import Iterable
from typing import NamedTuple

import pandas as pd

ENDS = ("_low", "_high")
"""Endings of the limits of an interval."""


class ResultTable(NamedTuple):
    """What a row of a table is, and its columns; a star marks those with an interval."""

    row: str
    columns: str


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
_DIFFERENCES = (
    "difference_min_per_year* difference_outages_per_year* difference_below_committed_min_per_year* "
    "difference_undelivered_gbit_per_year* difference_penalty_per_year* difference_outage_cost_per_year*"
)
_CASE = (
    "states best_mbit_s unavailable_min_per_year* severely_errored_s_per_year* mean_mbit_s* mbit_s_99 "
    "mbit_s_99_9 mbit_s_99_99 mbit_s_99_999 difference_min_per_year* difference_mbit_s*"
)

OF_A_RUN = {
    "services": ResultTable(
        "a service",
        "service from to committed_mbit_s committed_backward_mbit_s peak_mbit_s peak_backward_mbit_s "
        f"priority protection hops {_OUTAGES} "
        "planned_min_per_year errored_s_per_year worst_month_unavailable_min* "
        "forward_unavailable_min_per_year backward_unavailable_min_per_year "
        "mean_throughput_mbit_s throughput_99_mbit_s throughput_99_9_mbit_s throughput_99_99_mbit_s "
        "throughput_99_999_mbit_s below_committed_min_per_year* textbook_min_per_year",
    ),
    "service_directions": ResultTable(
        "a direction of a service",
        f"{_DIRECTION} availability_ratio* unavailable_min_per_year* severely_errored_s_per_year* "
        "outages_per_year* mean_time_between_outages_h* severely_errored_ratio* "
        "below_committed_min_per_year* errored_s_per_year "
        "mean_time_to_restore_s",
    ),
    "service_causes": ResultTable(
        "a service and an exact set of causes",
        "service cause unavailable_min_per_year severely_errored_s_per_year share",
    ),
    "service_months": ResultTable(
        "a service and a calendar month", "service month unavailable_min_per_year outages_weighed"
    ),
    "longest_outages": ResultTable(
        "an outage of a service, of its ten longest", "service number began duration_s cause block start_s"
    ),
    "service_throughput": ResultTable(
        "a direction of a service and a rate", f"{_DIRECTION} rate_mbit_s exceeded_share"
    ),
    "service_undelivered": ResultTable(
        "a direction of a service and an exact set of causes",
        f"{_DIRECTION} cause {_UNDELIVERED.format('')} below_committed_min_per_year hours_per_year share",
    ),
    "priority_undelivered": ResultTable(
        "a priority and an exact set of causes, both directions together",
        f"priority cause {_UNDELIVERED.format('*')} share committed_share",
    ),
    "service_objectives": ResultTable(
        "a service",
        "service length_km portion availability_objective allowed_min_per_year unavailable_min_per_year* "
        "availability_met availability_met_confidence availability_source below_committed_min_per_year* "
        "severely_errored_ratio_objective "
        "severely_errored_ratio* severely_errored_met severely_errored_met_confidence "
        "severely_errored_source "
        "outages_per_year_objective outages_per_year* outages_met outages_met_confidence outages_source",
    ),
    "service_years": ResultTable(
        "a service and a share of its years", "service share_of_years unavailable_min*"
    ),
    "service_targets": ResultTable(
        "a service and an availability", "service availability target_min_per_year year_break_chance*"
    ),
    "textbook_distance": ResultTable("a step of a service", "service step min_per_year*"),
    "hops": ResultTable(
        "a hop, or a bundle of several",
        f"hop from to scheme length_km frequency_ghz capacity_mbit_s {_OUTAGES} mean_capacity_mbit_s "
        "capacity_99_mbit_s capacity_99_9_mbit_s capacity_99_99_mbit_s capacity_99_999_mbit_s "
        "textbook_min_per_year",
    ),
    "hop_causes": ResultTable(
        "a hop and an exact set of causes", "hop cause seconds_per_year unavailable_min_per_year"
    ),
    "hop_modulations": ResultTable("a direction of a hop and a modulation", "hop direction states share"),
    "hop_capacity": ResultTable(
        "a direction of a hop and a capacity", "hop direction capacity_mbit_s exceeded_share"
    ),
    "sites": ResultTable("a site", "site latitude_deg longitude_deg east_km north_km"),
    "part_failures": ResultTable(
        "a kind of part", f"kind failures_per_year latent_per_year struck_per_year {_PHASES}"
    ),
    "site_failures": ResultTable(
        "a site",
        "site failures_per_year dark_per_year dark_h_per_year mains_lost_per_year mains_lost_h_per_year "
        f"maintenance_h_per_year {_PHASES}",
    ),
    "crew_visits": ResultTable(
        "a crew", f"crew visits_per_year planned_per_year planned_h_per_year {_PHASES}"
    ),
    "costs": ResultTable(
        "a row of the bill and its prices; none where the file has no price",
        "place item type count once_each yearly_each capital yearly present",
    ),
    "service_money": ResultTable(
        "a service whose outages cost anything",
        "service penalty_per_year* penalty_bad_year undelivered_gbit_per_year* undelivered_value_per_year*",
    ),
}
"""Tables of results that every run has; those of money have no rows where nothing has a price."""

TABLES = {
    **OF_A_RUN,
    "predicted_hops": ResultTable(
        "a hop and a modulation, by the published standards",
        "hop scheme length_km frequency_ghz states capacity_mbit_s combining_loss_db gas_loss_db "
        "fixed_loss_db received_level_dbm threshold_dbm margin_db power_reduction_db rain_margin_db "
        "rain_attenuation_001_db with_wet_snow_001_db rain_min_per_year "
        "cross_polar_rain_min_per_year multipath_occurrence flat_worst_month "
        "dispersive_worst_month cross_polar_worst_month multipath_worst_month multipath_min_per_year "
        "equipment_min_per_year sites_min_per_year planned_min_per_year total_min_per_year",
    ),
    "predicted_services": ResultTable(
        "a service, along its working route",
        "service hops rain_min_per_year multipath_min_per_year equipment_min_per_year sites_min_per_year "
        "planned_min_per_year total_min_per_year",
    ),
    "plans": ResultTable(
        "a plan, or the network as it is",
        f"plan {_DIFFERENCES} capital yearly present cost_per_year rows_without_price min_saved_per_cost "
        "outage_cost_saved_per_cost rank rank_chance best_chance order_chance ranked_by services_added "
        "services_removed pairing_lost undominated",
    ),
    "differences": ResultTable(
        "a plan and a service, or all by their weights",
        "plan service weight base_min_per_year* plan_min_per_year* difference_ses_per_year* "
        f"{_DIFFERENCES} sure",
    ),
    "difference_causes": ResultTable(
        "a plan, a service and an exact set of causes", "plan service cause difference_min_per_year*"
    ),
    "bill_differences": ResultTable(
        "a plan and a row of the bill that it changes",
        "plan place item type base_count plan_count capital yearly present",
    ),
    "purchases": ResultTable(
        "a step of what is best bought, nothing first",
        "step bought capital present spent left next_best next_best_left right_chance figure set",
    ),
    "contenders": ResultTable(
        "a set of candidates that was simulated",
        "bought present blocks guessed simulated best_chance right_chance target_chance",
    ),
    "candidates": ResultTable(
        "a candidate, most saved for its money first",
        "candidate changes capital yearly present without_price guessed_saved chosen",
    ),
    "importance": ResultTable(
        "a service (or all) and what might never go wrong",
        "service kind target unavailable_min_per_year saved_min_per_year* share sure "
        "below_committed_min_per_year below_saved_min_per_year*",
    ),
    "promise": ResultTable(
        "a term of a contract, or all of its terms",
        "contract services figure unit period contract_years asked kept year_break_chance* "
        "contract_break_chance* mean median worst can_be_promised rests_on",
    ),
    "levers": ResultTable(
        "a contract and what might never go wrong",
        "contract kind target contract_break_chance* figure mean can_be_promised",
    ),
    "against": ResultTable(
        "a hop, a modulation and a figure",
        "hop states figure unit predicted simulated ratio standard_error in_range",
    ),
    "modulation_hops": ResultTable(
        "a hop and a modulation, 0 states for adaptive",
        f"hop {_CASE} below_best_min_per_year* adaptive_below_min_per_year*",
    ),
    "modulation_hop_weather": ResultTable(
        "a hop as it is, beside weather alone",
        "hop unavailable_min_per_year* below_best_min_per_year* steps_per_year* "
        "weather_unavailable_min_per_year* weather_below_best_min_per_year* weather_steps_per_year*",
    ),
    "modulation_services": ResultTable(
        "a service and the modulation at which every hop is fixed, 0 states for adaptive",
        f"service {_CASE} undelivered_gbit_per_year* undelivered_share",
    ),
    "modulation_hop_curves": ResultTable(
        "a hop, a modulation and a rate", "hop states mbit_s exceeded_share"
    ),
    "modulation_service_curves": ResultTable(
        "a service, a modulation and a rate", "service states mbit_s exceeded_share"
    ),
    "modulation_hop_modulations": ResultTable("a hop and a modulation", "hop states share busy_share"),
    "modulation_service_modulations": ResultTable("a service and a modulation", "service states share"),
    "modulation_undelivered": ResultTable(
        "a modulation, a priority and an exact set of causes",
        f"states priority cause {_UNDELIVERED.format('*')} share committed_share "
        "difference_undelivered_mbit_per_year* difference_undelivered_committed_mbit_per_year*",
    ),
    "outages": ResultTable("an outage of a service", "number began duration_s cause block start_s"),
}
"""Every result table by name: those of a run, a prediction and a comparison; of the verbs ``importance``,
``promise``, ``predict --against`` and ``modulation`` (each of its tables); and of ``worst_outages``."""


def columns_of(table: str) -> list[str]:
    """Every column of a table in its order, limits of intervals included."""
    names = (word.partition("*") for word in TABLES[table].columns.split())
    return [f"{name}{end}" for name, star, _ in names for end in ("", *ENDS)[: 3 if star else 1]]


def table_of(table: str, rows: Iterable[object]) -> pd.DataFrame:
    """Rows (by column, or in the order of the columns) as that table; its columns where there is none."""
    return pd.DataFrame([*rows], columns=columns_of(table))
