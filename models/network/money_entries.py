"""Entries of a network file about money: prices, and penalties of services. All are the user's own."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.network.entry import Entry, Finite

Amount = Annotated[Finite, Field(ge=0, le=1e12)]
"""A sum of money."""


class PenaltyTier(Entry):
    """Owed for each month or year in which a service is less available."""

    availability: Finite = Field(
        gt=0, lt=1, description="share of the period's time, as 0.9999; owed below it"
    )
    amount: Finite = Field(
        ge=0, le=1e12, description="owed for the period; of several tiers broken the dearest alone"
    )
    period: Literal["month", "year"] = Field("month", description="calendar month or year")


class Prices(Entry):
    """What things cost. Without a price no figure of money is shown; what has none is named, not guessed."""

    currency: str = Field("money", min_length=1, max_length=20, description="word that stands beside amounts")
    life_years: Finite | None = Field(
        None, gt=0, le=100, description="time over which costs are reckoned; must be given beside a price"
    )
    discount_rate: Finite | None = Field(
        None, ge=0, le=1, description="a year, as 0.06; must be given beside a price"
    )
    once: dict[str, Amount] = Field(
        default_factory=dict,
        description="price of one when it is bought, by item, item/type, item/band or item/type/band, as "
        "outdoor_radio/RADIO/18GHz; the most special holds",
    )
    yearly: dict[str, Amount] = Field(
        default_factory=dict, description="what one costs by the year, named in the same way"
    )
    visit: Finite | None = Field(
        None, ge=0, le=1e12, description="one journey of a crew; how many, a run tells; default no price"
    )

    @property
    def given(self) -> bool:
        """Whether there is any price."""
        return bool(self.once or self.yearly) or self.visit is not None

    @model_validator(mode="after")
    def _life_and_rate_are_stated(self) -> "Prices":
        for field, allowed in (("life_years", "above 0, at most 100"), ("discount_rate", "0 to 1")):
            if self.given and getattr(self, field) is None:
                raise FieldError(field, "missing", f"a number, {allowed}, beside prices")
        return self
