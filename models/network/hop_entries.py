"""Entries of a network file that describe the network's shape: sites, and the hops between them."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.network.entry import Entry, Finite, Identifier, Name
from hopyears.models.radio.scheme import Scheme, parse_scheme

MAXIMUM_PATH_LENGTH_KM = 200.0
MINIMUM_PATH_LENGTH_KM = 0.02


class Site(Entry):
    """A place with a mast: radios in every direction share its power, its mast and its indoor unit."""

    id: Identifier
    name: Name = None
    latitude_deg: Finite = Field(ge=-80, le=80, description="WGS 84")
    longitude_deg: Finite = Field(ge=-180, le=180, description="WGS 84")
    ground_height_m: Finite = Field(0.0, ge=-450, le=6000, description="above sea level")
    antenna_height_m: Finite = Field(
        30.0, ge=1, le=500, description="above ground, for hops that do not state their own"
    )
    power: Identifier = Field("standard", description="id of a [[power]] entry, or 'standard'")
    access_h: Finite = Field(0.0, ge=0, le=240, description="added to each journey there: ferry, walk, key")
    failure_factor: Finite = Field(
        1.0, gt=0, le=100, description="failures of the parts there, over those of parts of their kind"
    )
    indoor_unit: Identifier = Field("standard", description="id of an [[indoor_units]] entry, or 'standard'")
    indoor_units: int = Field(0, ge=0, le=8, description="how many; 0 takes as many as the directions need")


class Hop(Entry):
    """A radio link between two sites."""

    id: Identifier
    name: Name = None
    site_a: Annotated[Identifier, Field(alias="from", description="site id")]
    site_b: Annotated[Identifier, Field(alias="to", description="site id")]
    frequency_ghz: Finite = Field(ge=1, le=100, description="of the first channel")
    channel_width_mhz: Finite = Field(
        28.0, gt=0, le=4000, description="channel spacing of the frequency plan"
    )
    polarisation: Literal["H", "V"] = Field("V", description="of the first channel")
    radio: Identifier = Field(description="radio id")
    antenna: Identifier = Field(description="antenna id at both ends")
    antenna_b: Identifier | None = Field(
        None, description="antenna id at the 'to' end; default as at the 'from' end"
    )
    scheme: str = Field("1+0", max_length=40, description="protection, for instance 1+0, 1+1 HSB, 2+0 XPIC")
    antenna_height_a_m: Finite | None = Field(
        None, ge=1, le=500, description="above ground; default the site's"
    )
    antenna_height_b_m: Finite | None = Field(
        None, ge=1, le=500, description="above ground; default the site's"
    )
    antenna_separation_m: Finite = Field(
        8.0, gt=0, le=60, description="vertical, between the two antennas of space diversity"
    )
    frequency_separation_mhz: Finite | None = Field(
        None, gt=0, le=5000, description="between neighbouring channels; default two channel widths"
    )
    duplex_spacing_mhz: Finite | None = Field(
        None, gt=0, le=12000, description="go to return; default 3 % of the frequency"
    )
    reference_states: int | None = Field(
        None, ge=2, le=16384, description="modulation when not adaptive; default the lowest"
    )
    transmit_power_dbm: Finite | None = Field(None, ge=-30, le=50, description="default the radio's")
    fixed_loss_a_db: Finite = Field(
        0.0, ge=0, le=60, description="at the 'from' end beside couplers: feeder, attenuator"
    )
    fixed_loss_b_db: Finite = Field(
        0.0, ge=0, le=60, description="at the 'to' end beside couplers: feeder, attenuator"
    )
    fixed_loss_path_db: Finite = Field(
        0.0, ge=0, le=60, description="of the path beside free space and gases: obstruction"
    )
    threshold_degradation_db: Finite = Field(
        0.0, ge=0, le=40, description="rise of all receiver thresholds by interference from outside"
    )
    sub_band: Identifier | None = Field(
        None, description="radios of one type and sub-band share spares; default all of the type"
    )
    terrain: Literal["flat", "hilly", "mountain"] = Field(
        "flat", description="for the gathering of fades in nights"
    )
    geoclimatic_factor: Finite | None = Field(
        None, gt=0, le=0.2, description="K of P.530; default from the maps, 0.2 at most"
    )
    refractivity_75: Finite | None = Field(
        None, gt=0, le=1000, description="dN75 of P.530-18, N-units, for multipath_edition 18; default none"
    )
    mean_terrain_m: Finite | None = Field(
        None,
        ge=-450,
        le=6000,
        description="mean height along the path above sea level, for multipath_edition 18; default the "
        "mean of both sites' grounds",
    )
    bundle: Identifier | None = Field(
        None, description="hops of one bundle, between the same sites, share their load as one; default none"
    )
    rain_exceedance_db: dict[str, Finite] | None = Field(
        None,
        description="measured rain attenuation by per cent of the year, for instance {'0.01' = 32.0}; "
        "default the law of P.530",
    )
    multipath_exceedance_db: dict[str, Finite] | None = Field(
        None,
        description="multipath fades measured, by per cent of the worst month, as {'0.01' = 28.0}; "
        "default the law of P.530",
    )

    @property
    def protection(self) -> Scheme:
        """The scheme as data."""
        return parse_scheme(self.scheme)

    @model_validator(mode="after")
    def _scheme_reads(self) -> "Hop":
        try:
            parse_scheme(self.scheme)
        except ValueError as error:
            _, _, allowed = str(error).rpartition("; must be ")
            raise FieldError("scheme", f'"{self.scheme}"', allowed) from None
        return self
