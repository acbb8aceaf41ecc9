"""Cleaning and statistics of experiments/verification/measured_links, on series made up for it."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

FOLDER = Path(__file__).parents[2] / "experiments" / "verification" / "measured_links"
DAY_MIN = 1440


def module(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"measured_{name}", FOLDER / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    loaded = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = loaded  # dataclasses look their module up
    spec.loader.exec_module(loaded)
    return loaded


links, joint = module("links"), module("joint_statistics")


def cleaned(loss_db: np.ndarray) -> np.ndarray:
    """The one link's attenuation, both directions alike but for a decimal."""
    found = links.measured(
        loss_db=np.stack([loss_db, loss_db + 0.1])[None],
        latitude_deg=np.array([[49.0, 49.02]]),
        longitude_deg=np.array([[9.0, 9.02]]),
        frequency_ghz=np.array([23.0]),
        polarisation=np.array(["V"]),
    )
    assert len(found.hops) == 1
    attenuation: np.ndarray = found.attenuation_db[0]
    return attenuation


def dry_with(at: int, part: list[float]) -> np.ndarray:
    """Two days of 60 dB and a little noise, with a part of other values from a minute on."""
    loss = 60.0 + 0.1 * np.random.default_rng(1).integers(-3, 4, 2 * DAY_MIN)
    loss[at : at + len(part)] = 60.0 + np.array(part)
    return loss


def test_a_rain_fade_stays_and_a_receiver_that_lost_its_signal_does_not() -> None:
    rain = [3.0, 6.0, 11.0, 19.0, 28.0, 35.0, 24.0, 14.0, 8.0, 4.0]
    np.testing.assert_allclose(cleaned(dry_with(700, rain))[700:710], rain, atol=0.31)
    lost = cleaned(dry_with(700, [26.0, 52.0, 52.0]))
    assert np.isnan(lost[700:703]).all()
    assert np.isfinite(np.delete(lost, slice(700, 703))).all()


def test_a_value_held_in_a_fade_is_unknown_after_its_first_minute() -> None:
    held = cleaned(dry_with(700, [4.0, 9.0, 15.0, *[22.0] * 8, 14.0, 6.0]))
    assert held[703] == pytest.approx(22.0, abs=0.31)
    assert np.isnan(held[704:711]).all()
    assert np.isfinite(held[711:713]).all()
    short = cleaned(dry_with(700, [4.0, 9.0, 15.0, *[22.0] * 4, 14.0, 6.0]))
    assert np.isfinite(short).all()


def test_fades_into_the_unknown_count_as_lasting_longer() -> None:
    nan = np.nan
    row = np.array([[0.0, 9.0, 9.0, 0.0, 9.0, 9.0, nan, 9.0, 0.0, 9.0, 9.0, 9.0, 9.0, 0.0]])
    length, ended = joint.fade_lengths_min(row, 5.0)
    assert length.tolist() == [2, 2, 4]
    assert ended.tolist() == [True, False, True]
    # Kaplan and Meier by hand: one of three ends after 2 minutes, all that is left after 4.
    assert joint.mean_and_median(length, ended) == pytest.approx((2.0 + 2.0 / 3.0 * 2.0, 4.0))


def test_mean_length_of_fades_cut_off_at_random() -> None:
    """Geometric lengths of mean 5, a third of them cut off: 4 standard errors of 4,000."""
    rng = np.random.default_rng(2)
    length, cut = rng.geometric(0.2, 4000), rng.geometric(0.1, 4000)
    mean, median = joint.mean_and_median(np.minimum(length, cut), length <= cut)
    assert mean == pytest.approx(5.0, abs=4.0 * 6.0 / np.sqrt(4000.0))
    assert median == pytest.approx(np.median(length), abs=1.0)
    assert np.minimum(length, cut).mean() < 4.0  # what leaving the rest out would say


@pytest.mark.slow
@pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("pycomlink", "xarray", "netCDF4")),
    reason="the verify extra is not installed",
)
def test_radar_sees_no_rain_where_a_receiver_is_said_to_have_lost_its_signal() -> None:
    """Radar rain on the German links' paths (RADOLAN, in pycomlink 0.6.0), the most within ten minutes."""
    import pycomlink
    import xarray

    folder = Path(pycomlink.__file__).parent / "io" / "example_data"
    data = xarray.open_dataset(folder / "example_cml_data.nc").transpose("cml_id", "channel_id", "time")
    radar = xarray.open_dataset(folder / "example_path_averaged_reference_data.nc")
    rain_mm_h = 12.0 * radar.rainfall_amount.sel(cml_id=data.cml_id).transpose("cml_id", "time").values
    dry: dict[bool, list[bool]] = {True: [], False: []}
    for pair, rain in zip((data.tsl - data.rsl).values, rain_mm_h, strict=True):
        attenuation, _ = links._attenuation(pair)
        if not links._trusted(attenuation):
            continue
        lost = links.dropped(attenuation)
        change = np.diff(np.pad(attenuation > links.DROP_DB, 1).astype(np.int8))
        for start, end in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True):
            about = rain[max(start - 10, 0) // 5 : (end + 10) // 5 + 1]
            dry[bool(lost[start])].append(bool(np.nanmax(about) < 1.0))
    assert len(dry[True]) > 100
    assert np.mean(dry[True]) > 0.9
    assert np.mean(dry[False]) < 0.05
