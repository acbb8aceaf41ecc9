import json
import subprocess
import sys

import numpy as np
import pytest
from reference import cases, rows

from hopyears.models.air import rain_law
from hopyears.sim import climate
from hopyears.sim.storage import disk_cache
from hopyears.sim.storage.whole_file import digest_of


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(autouse=True)
def _own_cache(folder, monkeypatch):
    monkeypatch.setenv(disk_cache.CACHE_VARIABLE, str(folder))


def place_of(row):
    return climate.climate_of(row["inputs"]["lat"], row["inputs"]["lon"])


@pytest.mark.parametrize(
    "row", cases("p837_rain_rate", "R001_map") + cases("official_examples", topic="P.837-7 map")
)
def test_rain_rate_map(row):
    assert place_of(row).rain_rate_001_mm_h == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize(
    "row", cases("p837_rain_rate", "P0_annual") + cases("official_examples", topic="P.837-7 P0")
)
def test_probability_of_rain(row):
    found = 100 * rain_law.annual_rain_probability(place_of(row).rain_law)
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("p837_rain_rate", "R_p_from_monthly_lognormal"))
def test_rain_rate_of_the_monthly_law(row):
    found = rain_law.annual_rain_rate_mm_h(place_of(row).rain_law, row["inputs"]["p_percent"] / 100)
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("official_examples", topic="P.837-7"))
def test_official_rain_rates(row):
    fraction = row["inputs"]["p"] / 100
    found = rain_law.annual_rain_rate_mm_h(place_of(row).rain_law, fraction)
    # At exactly 0.01 % the Recommendation takes its map, 0.1 % away from its own monthly law.
    tolerance = 1e-3 if row["inputs"]["p"] == 0.01 else row["rel_tol"]
    assert found == pytest.approx(row["value"], rel=tolerance)


@pytest.mark.parametrize("row", cases("p837_monthly", "P_month_R_exceeded"))
def test_monthly_exceedance(row):
    month = row["inputs"]["month"] - 1
    found = 100 * rain_law.monthly_exceedance(place_of(row).rain_law, row["inputs"]["R_mmh"])[month]
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("p837_monthly", "T_MT_r_P0"))
def test_monthly_temperature_and_rainfall(row):
    found, month = place_of(row), row["inputs"]["month"] - 1
    assert found.temperature_c[month] == pytest.approx(row["inputs"]["T_C"], abs=1e-4)
    assert found.rainfall_mm[month] == pytest.approx(row["inputs"]["MT_mm"], abs=1e-4)


@pytest.mark.parametrize("row", cases("official_examples", topic="P.1510-1 mean temperature"))
def test_official_mean_temperatures(row):
    assert place_of(row).annual_temperature_c + 273.15 == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize(
    "row", [r for r in cases("official_examples") if r.values[0]["topic"].startswith("P.839")]
)
def test_official_rain_heights(row):
    assert place_of(row).rain_height_m == pytest.approx(1000 * row["value"][1], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("p530_multipath", "K_detailed"))
def test_refractivity_and_terrain_maps(row):
    found = place_of(row)
    assert found.dn1_n_km == pytest.approx(row["inputs"]["dN1"], rel=1e-9)
    assert found.terrain_roughness_m == pytest.approx(row["inputs"]["sa_m"], rel=1e-9)


def air(dry_pressure_hpa, temperature_k, vapour_density_g_m3):
    place = climate.climate_of(48.0, 10.0)
    given = dict(vars(place))
    given |= {
        "pressure_hpa": dry_pressure_hpa + vapour_density_g_m3 * temperature_k / 216.7,
        "annual_temperature_c": temperature_k - 273.15,
        "vapour_density_g_m3": vapour_density_g_m3,
    }
    return climate.Climate(**given)


@pytest.mark.parametrize("row", cases("p676_gas"))
def test_gas(row):
    given = row["inputs"]
    found = climate.gas_db_per_km(given["f_GHz"], air(given["P_dry_hPa"], given["T_K"], given["rho_g_m3"]))
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("official_examples", topic="P.676-12 gamma"))
def test_official_gas(row):
    given = row["inputs"]
    found = climate.gas_db_per_km(given["f"], air(given["P"], given["T"], given["rho"]))
    assert found == pytest.approx(row["value"][2], rel=row["rel_tol"])


def test_altitude_thins_the_air():
    low, high = (
        climate.climate_of(46.5, 8.0, altitude_m=500.0),
        climate.climate_of(46.5, 8.0, altitude_m=3000.0),
    )
    assert high.pressure_hpa == pytest.approx(701.1, abs=0.5)  # standard atmosphere at 3 km
    assert high.vapour_density_g_m3 < 0.7 * low.vapour_density_g_m3
    assert climate.gas_db_per_km(60.0, high) < climate.gas_db_per_km(60.0, low)
    assert high.rain_rate_001_mm_h == low.rain_rate_001_mm_h


def test_longitudes_west_and_east_of_the_180th_meridian_agree():
    assert climate.climate_of(0.0, 180.0).rain_rate_001_mm_h == pytest.approx(
        climate.climate_of(0.0, -180.0).rain_rate_001_mm_h
    )


def test_a_second_look_up_reads_what_the_first_one_wrote(folder):
    assert climate.climate_of(52.0, 13.0) == climate.climate_of(52.0, 13.0)
    assert not list(folder.glob("*.tmp"))


def test_a_warm_start_does_not_import_the_map_library(folder):
    place = climate.climate_of(52.0, 13.0)
    gas = climate.gas_db_per_km(23.0, place)
    script = (
        "import sys; from hopyears.sim import climate; place = climate.climate_of(52.0, 13.0);"
        "gas = climate.gas_db_per_km(23.0, place);"
        "print(place.rain_rate_001_mm_h, gas, 'itur' in sys.modules)"
    )
    output = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout
    assert output.split() == [str(place.rain_rate_001_mm_h), str(gas), "False"]


@pytest.mark.parametrize(
    "spoilt",
    ["", "{half a line", "[]", "null", '{"key": "another"}', '{"key": KEY, "values": {"latitude_deg": 1}}'],
)
@pytest.mark.parametrize("signed", [True, False])
def test_a_spoilt_cache_is_made_again(tmp_path, monkeypatch, spoilt, signed):
    monkeypatch.setenv(disk_cache.CACHE_VARIABLE, str(tmp_path))
    right = climate.climate_of(52.0, 13.0)
    (file,) = tmp_path.iterdir()
    whole = file.read_text()
    key = json.dumps(json.loads(whole.partition("\n")[2])["key"])
    text = spoilt.replace("KEY", key)
    file.write_text(f"{digest_of(text.encode())}\n{text}" if signed else text)
    assert climate.climate_of(52.0, 13.0) == right
    assert file.read_text() == whole


def test_without_a_cache_folder_the_answer_is_the_same(tmp_path, monkeypatch):
    right = climate.climate_of(52.0, 13.0)
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    monkeypatch.setenv(disk_cache.CACHE_VARIABLE, str(blocked / "cache"))
    assert climate.climate_of(52.0, 13.0) == right


def test_the_cache_has_a_default_place(monkeypatch):
    monkeypatch.delenv(disk_cache.CACHE_VARIABLE)
    assert disk_cache.cache_folder().name == "hopyears"


def test_several_places_keep_their_order_and_their_own_values():
    # itur 0.4 given both places together would return one rain rate for both.
    temperate, tropical = climate.climates_of([(48.0, 10.0, None), (1.4, 103.8, 20.0)])
    assert temperate == climate.climate_of(48.0, 10.0)
    assert tropical.altitude_m == 20.0
    both = [rain_law.annual_rain_rate_mm_h(place.rain_law, 1e-3) for place in (temperate, tropical)]
    values = {
        (r["inputs"]["lat"], r["inputs"]["p_percent"]): r["value"]
        for r in rows("p837_rain_rate", "R_p_from_monthly_lognormal")
    }
    expected = [values.get((48.0, 0.1), 11.27), values.get((1.4, 0.1), 34.89)]
    assert both == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: climate.climate_of(91.0, 0.0), r"latitude_deg is 91.0; must be -90 to 90"),
        (lambda: climate.climate_of(np.nan, 0.0), r"latitude_deg is nan; must be -90 to 90"),
        (lambda: climate.climate_of(0.0, 181.0), r"longitude_deg is 181.0; must be -180 to 180"),
        (lambda: climate.climate_of(0.0, 0.0, altitude_m=np.nan), r"altitude_m is nan; must be -500 to 9000"),
        (
            lambda: climate.climate_of(-90.0, 0.0),
            r"latitude_deg is -90.0; must be where the ITU-R maps have vapour",
        ),
        (
            lambda: climate.gas_db_per_km(0.0, climate.climate_of(52.0, 13.0)),
            r"frequency_ghz is 0.0; must be 1 to",
        ),
    ],
)
def test_bad_input_names_field_value_and_range(call, message):
    with pytest.raises(ValueError, match=message):
        call()


RATIOS = rows("p841_p678_p618_p1853", "climatic_ratio_rc")


def test_years_spread_as_on_the_map_of_the_recommendation():
    """ITU-R P.678-3's map of r_c: within a sixth of it at five of six places that the fit has not seen,
    where one value for all (its median, 0.18) is a fifth to a half off; a coast of dry summers misses."""
    miss = []
    for row in RATIOS:
        found = climate.climate_of(row["inputs"]["lat"], row["inputs"]["lon"]).climatic_ratio
        miss.append(abs(np.log(found / row["value"])))
    assert len(miss) == 6
    assert np.sort(miss)[4] < 0.17
    assert max(miss) < 1.0
    median = np.abs(np.log(0.18 / np.array([row["value"] for row in RATIOS])))
    assert np.median(miss) < 0.3 * np.median(median)


def test_maps_are_let_go_and_read_again_when_they_are_needed():
    import itur.models.itu837 as itu837

    found = climate._look_up(46.2, 7.1, None)
    assert vars(itu837)["__model"].instance._Mt
    climate.maps_let_go()
    assert not vars(itu837)["__model"].instance._Mt
    assert climate._look_up(46.2, 7.1, None) == found
