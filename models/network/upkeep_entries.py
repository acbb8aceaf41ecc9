"""Entries of a network file that describe upkeep: power, crews, spares, planned work."""

from typing import Annotated

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.network.entry import Entry, Finite, Identifier

_LEAST_RECONNECT_H = 0.1


class Power(Entry):
    """How a site is fed."""

    id: Identifier
    mains_outages_per_year: Finite = Field(
        1.5, ge=0, le=1000, description="mean over all weather, storms included"
    )
    outage_median_min: Finite = Field(
        35.0, gt=0, le=100_000, description="half of the mains outages last longer"
    )
    outage_ln_sd: Finite = Field(
        1.3, ge=0, le=3, description="standard deviation of ln(outage duration); 0 for a fixed one"
    )
    battery_h: Finite = Field(4.0, ge=0, le=1000, description="autonomy of a new battery at full charge")
    battery_life_years: Finite = Field(
        6.5, ge=0.1, le=100, description="age at which the battery is replaced"
    )
    battery_end_share: Finite = Field(
        0.8, gt=0, le=1, description="autonomy at replacement over that when new; 1 for no ageing"
    )
    recharge_h: Finite = Field(11.0, gt=0, le=1000, description="from an empty battery to a full one")
    rectifiers: int = Field(
        0, ge=0, le=100, description="modules that may fail, on the battery's shoulders; 0: never"
    )
    rectifiers_needed: int = Field(
        1, ge=1, le=100, description="to carry the load; one less than installed is N+1"
    )
    generator: bool = Field(False, description="a standby generator carries the load in mains outages")
    generator_start_failure: Finite = Field(0.02, ge=0, le=1, description="chance that it does not start")
    generator_start_s: Finite = Field(
        72.0, ge=0, le=86_400, description="from the mains outage to the generator's taking the load"
    )
    generator_fuel_h: Finite = Field(
        48.0, gt=0, le=100_000, description="running time on the fuel at the site, in each outage"
    )
    storm_factor: Finite = Field(
        6.0, ge=1, le=1000, description="mains outage rate in a storm over that in calm weather"
    )
    solar_harvest_h: tuple[Annotated[Finite, Field(ge=0, le=1000)], ...] | None = Field(
        None,
        min_length=12,
        max_length=12,
        description="sun instead of mains: mean daily harvest by month, in hours of "
        "the site's load; default none, the site has mains",
    )
    solar_ln_sd: Finite = Field(0.6, ge=0, le=3, description="standard deviation of ln(harvest of a day)")
    solar_day_correlation: Finite = Field(
        0.4, ge=0, lt=1, description="correlation of ln(harvest) from one day to the next"
    )
    solar_reconnect_share: Finite = Field(
        0.2,
        gt=0,
        le=1,
        description="charge at which an empty site is switched on again, enough for at least "
        f"{_LEAST_RECONNECT_H:g} h",
    )

    @model_validator(mode="after")
    def _supply_suffices(self) -> "Power":
        if self.rectifiers and self.solar_harvest_h is not None:
            raise FieldError(
                "rectifiers", f"{self.rectifiers} beside solar_harvest_h", "0: the sun needs none"
            )
        held_h = self.battery_h * self.solar_reconnect_share
        if self.solar_harvest_h is not None and held_h < _LEAST_RECONNECT_H:
            # Else a site that the sun nearly feeds would go on and off without end.
            raise FieldError(
                "solar_reconnect_share",
                f"{self.solar_reconnect_share:g} of a battery of {self.battery_h:g} h",
                f"so much that the site can be on for {_LEAST_RECONNECT_H:g} h",
            )
        if self.rectifiers_needed > max(self.rectifiers, 1):
            allowed = f"1 to rectifiers, {self.rectifiers}" if self.rectifiers else "1 without rectifiers"
            raise FieldError("rectifiers_needed", f"{self.rectifiers_needed}", allowed)
        return self


class Crew(Entry):
    """People who mend."""

    id: Identifier
    base: Identifier = Field(description="site id of the base")
    teams: int = Field(1, ge=1, le=1000, description="crews that share this base")
    speed_km_h: Finite = Field(40.0, gt=0, le=300, description="along the road")
    shift_start_h: Finite = Field(0.0, ge=0, lt=24, description="local solar time")
    shift_end_h: Finite = Field(24.0, gt=0, le=24, description="local solar time; 0 to 24 is round the clock")
    working_days_per_week: int = Field(7, ge=1, le=7, description="in a row; the rest is off")
    on_call: bool = Field(True, description="sets off at any hour for a fault that stops traffic")

    @model_validator(mode="after")
    def _shift_ends_after_it_starts(self) -> "Crew":
        if self.shift_end_h <= self.shift_start_h:
            raise FieldError(
                "shift_end_h", f"{self.shift_end_h:g}", f"above shift_start_h, {self.shift_start_h:g}"
            )
        return self


class RepairRules(Entry):
    """How faults are attended, everywhere in the network."""

    dispatch_h: Finite = Field(0.5, ge=0, le=1000, description="mean, from alarm to a crew called")
    duration_ln_sd: Finite = Field(
        0.5,
        ge=0,
        le=3,
        description="standard deviation of ln(time) of dispatch, of mending and of switching by hand; "
        "0 for fixed times",
    )
    error_share: Finite = Field(
        0.0,
        ge=0,
        le=1,
        description="of a crew's repairs, those that end with another part of the same hop end or indoor "
        "unit stopped by mistake, if one works; default none (common practice, no source)",
    )
    error_h: Finite = Field(
        0.5, gt=0, le=1000, description="mean, until the crew has set such a mistake right"
    )
    road_factor: Finite = Field(1.3, ge=1, le=10, description="road over straight line")
    return_travel: bool = Field(
        True, description="a crew is free again when it is back at its base; false when it has mended"
    )
    daylight_climbs: bool = Field(False, description="nobody starts a climb in the dark")
    least_daylight_h: Finite = Field(
        6.0, ge=0, le=24, description="about noon, in which climbs may start even in polar night"
    )
    storm_distance_km: Finite = Field(
        15.0,
        gt=0,
        le=200,
        description="a storm cell this near a site stops climbs, shakes the mains, may bring lightning",
    )
    storm_rain_mm_h: Finite = Field(
        5.0, gt=0, le=200, description="peak from which a rain cell counts as such a storm cell"
    )


class LightningRisk(Entry):
    """Damaging strikes at a site, a common cause of several failures."""

    strikes_per_storm_h: Finite = Field(
        0.00015, ge=0, le=10, description="damaging strikes at a site per hour of storm over it"
    )
    damage_chance: Finite = Field(
        0.2, ge=0, le=1, description="chance that a strike takes each outdoor radio of the site"
    )


class Depot(Entry):
    """Spares."""

    id: Identifier
    base: Identifier = Field(description="site id where the spares lie")
    stock: dict[str, Annotated[int, Field(ge=0, le=100_000)]] = Field(
        default_factory=dict,
        description="kind of part to spares held; radios also by type, outdoor_radio/RADIO, and by sub-band, "
        "outdoor_radio/RADIO/SUB-BAND. What is not listed is ordered when it is needed; without any depot "
        "spares never lack",
    )
    lead_time_days: Finite = Field(
        30.0, gt=0, le=1000, description="mean, from a spare's use to its replacement in stock"
    )
    express_days: Finite | None = Field(
        None,
        gt=0,
        le=1000,
        description="an order for stopped traffic comes so soon; default no express orders",
    )
    shipping_h: Finite | None = Field(
        None,
        gt=0,
        le=1000,
        description="from here to a depot nearer to the fault; default the crew fetches the spare here",
    )


class Maintenance(Entry):
    """Planned work that stops a site."""

    site: Identifier = Field(description="site id")
    every_days: Finite = Field(ge=1, le=10_000, description="from one window to the next")
    duration_h: Finite = Field(1.0, gt=0, le=240, description="the site is stopped for all of it")
    start_h: Finite = Field(2.0, ge=0, lt=24, description="local solar time")
    visit: bool = Field(True, description="a crew of the nearest base comes; false for work from a distance")
    climbs: bool = Field(False, description="put off by whole days while a storm is near")
