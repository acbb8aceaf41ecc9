"""Entries of a network file that describe upkeep: power, crews, spares, planned work."""

from typing import Annotated

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.network.entry import Entry, Finite, Identifier


class Power(Entry):
    """How a site is fed."""

    id: Identifier
    mains_outages_per_year: Annotated[
        Finite, Field(ge=0, le=1000, description="mean over all weather, storms included")
    ] = 1.5
    outage_median_min: Annotated[
        Finite, Field(gt=0, le=100_000, description="half of the mains outages last longer")
    ] = 35.0
    outage_ln_sd: Annotated[
        Finite, Field(ge=0, le=3, description="standard deviation of ln(outage duration); 0 for a fixed one")
    ] = 1.3
    battery_h: Annotated[
        Finite, Field(ge=0, le=1000, description="autonomy of a new battery at full charge")
    ] = 4.0
    battery_life_years: Annotated[
        Finite, Field(gt=0, le=100, description="age at which the battery is replaced")
    ] = 6.5
    battery_end_share: Annotated[
        Finite, Field(gt=0, le=1, description="autonomy at replacement over that when new; 1 for no ageing")
    ] = 0.8
    recharge_h: Annotated[Finite, Field(gt=0, le=1000, description="from an empty battery to a full one")] = (
        11.0
    )
    rectifiers: Annotated[
        int, Field(ge=0, le=100, description="modules that may fail, on the battery's shoulders; 0: never")
    ] = 0
    rectifiers_needed: Annotated[
        int, Field(ge=1, le=100, description="to carry the load; one less than installed is N+1")
    ] = 1
    generator: Annotated[bool, Field(description="a standby generator carries the load in mains outages")] = (
        False
    )
    generator_start_failure: Annotated[
        Finite, Field(ge=0, le=1, description="chance that it does not start")
    ] = 0.02
    generator_start_s: Annotated[
        Finite, Field(ge=0, le=86_400, description="from the mains outage to the generator's taking the load")
    ] = 72.0
    generator_fuel_h: Annotated[
        Finite, Field(gt=0, le=100_000, description="running time on the fuel at the site, in each outage")
    ] = 48.0
    storm_factor: Annotated[
        Finite, Field(ge=1, le=1000, description="mains outage rate in a storm over that in calm weather")
    ] = 6.0
    solar_harvest_h: Annotated[
        tuple[Annotated[Finite, Field(ge=0, le=1000)], ...] | None,
        Field(
            min_length=12,
            max_length=12,
            description="sun instead of mains: mean daily harvest by month, in hours of "
            "the site's load; default none, the site has mains",
        ),
    ] = None
    solar_ln_sd: Annotated[
        Finite, Field(ge=0, le=3, description="standard deviation of ln(harvest of a day)")
    ] = 0.6
    solar_day_correlation: Annotated[
        Finite, Field(ge=0, lt=1, description="correlation of ln(harvest) from one day to the next")
    ] = 0.4
    solar_reconnect_share: Annotated[
        Finite, Field(gt=0, le=1, description="charge at which an empty site is switched on again")
    ] = 0.2

    @model_validator(mode="after")
    def _rectifiers_suffice(self) -> "Power":
        if self.rectifiers and self.solar_harvest_h is not None:
            raise FieldError(
                "rectifiers", f"{self.rectifiers} beside solar_harvest_h", "0: the sun needs none"
            )
        if self.rectifiers_needed > max(self.rectifiers, 1):
            allowed = f"1 to rectifiers, {self.rectifiers}" if self.rectifiers else "1 without rectifiers"
            raise FieldError("rectifiers_needed", f"{self.rectifiers_needed}", allowed)
        return self


class Crew(Entry):
    """People who mend."""

    id: Identifier
    base: Annotated[Identifier, Field(description="site id of the base")]
    teams: Annotated[int, Field(ge=1, le=1000, description="crews that share this base")] = 1
    speed_km_h: Annotated[Finite, Field(gt=0, le=300, description="along the road")] = 40.0
    shift_start_h: Annotated[Finite, Field(ge=0, lt=24, description="local solar time")] = 0.0
    shift_end_h: Annotated[
        Finite, Field(gt=0, le=24, description="local solar time; 0 to 24 is round the clock")
    ] = 24.0
    working_days_per_week: Annotated[int, Field(ge=1, le=7, description="in a row; the rest is off")] = 7
    on_call: Annotated[bool, Field(description="sets off at any hour for a fault that stops traffic")] = True

    @model_validator(mode="after")
    def _shift_ends_after_it_starts(self) -> "Crew":
        if self.shift_end_h <= self.shift_start_h:
            raise FieldError(
                "shift_end_h", f"{self.shift_end_h:g}", f"above shift_start_h, {self.shift_start_h:g}"
            )
        return self


class RepairRules(Entry):
    """How faults are attended, everywhere in the network."""

    dispatch_h: Annotated[Finite, Field(ge=0, le=1000, description="mean, from alarm to a crew called")] = 0.5
    duration_ln_sd: Annotated[
        Finite,
        Field(
            ge=0,
            le=3,
            description="standard deviation of ln(time) of dispatch, of mending and of switching by hand; "
            "0 for fixed times",
        ),
    ] = 0.5
    error_share: Annotated[
        Finite,
        Field(
            ge=0,
            le=1,
            description="of a crew's repairs, those that end with another part of the same hop end or indoor "
            "unit stopped by mistake, if one works; default none (common practice, no source)",
        ),
    ] = 0.0
    error_h: Annotated[
        Finite, Field(gt=0, le=1000, description="mean, until the crew has set such a mistake right")
    ] = 0.5
    road_factor: Annotated[Finite, Field(ge=1, le=10, description="road over straight line")] = 1.3
    return_travel: Annotated[
        bool, Field(description="a crew is free again when it is back at its base; false when it has mended")
    ] = True
    daylight_climbs: Annotated[bool, Field(description="nobody starts a climb in the dark")] = False
    least_daylight_h: Annotated[
        Finite, Field(ge=0, le=24, description="about noon, in which climbs may start even in polar night")
    ] = 6.0
    storm_distance_km: Annotated[
        Finite,
        Field(
            gt=0,
            le=200,
            description="a storm cell this near a site stops climbs, shakes the mains, may bring lightning",
        ),
    ] = 15.0
    storm_rain_mm_h: Annotated[
        Finite, Field(gt=0, le=200, description="peak from which a rain cell counts as such a storm cell")
    ] = 5.0


class LightningRisk(Entry):
    """Damaging strikes at a site, a common cause of several failures."""

    strikes_per_storm_h: Annotated[
        Finite, Field(ge=0, le=10, description="damaging strikes at a site per hour of storm over it")
    ] = 0.00015
    damage_chance: Annotated[
        Finite, Field(ge=0, le=1, description="chance that a strike takes each outdoor radio of the site")
    ] = 0.2


class Depot(Entry):
    """Spares."""

    id: Identifier
    base: Annotated[Identifier, Field(description="site id where the spares lie")]
    stock: dict[str, Annotated[int, Field(ge=0, le=100_000)]] = Field(
        default_factory=dict,
        description="kind of part to spares held; radios also by type, outdoor_radio/RADIO, and by sub-band, "
        "outdoor_radio/RADIO/SUB-BAND. What is not listed is ordered when it is needed; without any depot "
        "spares never lack",
    )
    lead_time_days: Annotated[
        Finite, Field(gt=0, le=1000, description="mean, from a spare's use to its replacement in stock")
    ] = 30.0
    express_days: Annotated[
        Finite | None,
        Field(
            gt=0, le=1000, description="an order for stopped traffic comes so soon; default no express orders"
        ),
    ] = None
    shipping_h: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=1000,
            description="from here to a depot nearer to the fault; default the crew fetches the spare here",
        ),
    ] = None


class Maintenance(Entry):
    """Planned work that stops a site."""

    site: Annotated[Identifier, Field(description="site id")]
    every_days: Annotated[Finite, Field(ge=1, le=10_000, description="from one window to the next")]
    duration_h: Annotated[Finite, Field(gt=0, le=240, description="the site is stopped for all of it")] = 1.0
    start_h: Annotated[Finite, Field(ge=0, lt=24, description="local solar time")] = 2.0
    visit: Annotated[
        bool, Field(description="a crew of the nearest base comes; false for work from a distance")
    ] = True
    climbs: Annotated[bool, Field(description="put off by whole days while a storm is near")] = False
