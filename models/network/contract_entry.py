"""Entry of a network file that says what was promised: a contract over some services."""

from typing import Literal

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.network.entry import Entry, Finite, Identifier

TERMS = ("availability", "unavailable_min", "outages", "mean_throughput_mbit_s")
"""Fields of which a contract states one at least; several must all be kept."""

SHORTEST_PERIOD_MIN = {"year": 525_600.0, "month": 40_320.0}
"""Minutes of the shortest period of each name: a limit of so many could not be broken."""


class Contract(Entry):
    """What was promised of one or several services: kept when every period of its years keeps every term."""

    id: Identifier
    services: tuple[Identifier, ...] = Field(min_length=1, max_length=1000, description="service ids")
    period: Literal["year", "month"] = Field("year", description="calendar year or month that is judged")
    years: int = Field(1, ge=1, le=100, description="of the contract, each of which must keep it")
    availability: Finite | None = Field(
        None, gt=0, lt=1, description="least share of the time of a period, as 0.9999"
    )
    unavailable_min: Finite | None = Field(
        None, ge=0, lt=525_600, description="most unavailable minutes of a period"
    )
    outages: int | None = Field(
        None, ge=0, le=100_000, description="most outages of a period, by where they begin"
    )
    mean_throughput_mbit_s: Finite | None = Field(
        None, gt=0, le=1_000_000, description="least mean over a period of the slower direction's rate"
    )
    planned_work_counts: bool = Field(
        True, description="as unavailable time, as in all other figures; false: left out"
    )
    below_committed_counts: bool = Field(
        False, description="as unavailable time; false: only what counts as down by required_share"
    )
    together: Literal["each", "mean"] = Field("each", description="every service must keep it, or their mean")

    @model_validator(mode="after")
    def _something_is_promised(self) -> "Contract":
        if all(getattr(self, term) is None for term in TERMS):
            raise FieldError("availability", "missing", f"given, or another of {', '.join(TERMS[1:])}")
        if self.period == "month" and (self.unavailable_min or 0.0) >= SHORTEST_PERIOD_MIN["month"]:
            raise FieldError(
                "unavailable_min", f"{self.unavailable_min:g}", "less than 40320, all of a month"
            )
        return self
