"""Loss of wet antennas within a rain fade."""

import numpy as np
import pytest

from hopyears.models.radio.wet_antenna import path_rain_db, wet_antenna_loss_db


def test_the_loss_grows_to_its_most_as_the_form_says():
    """Kharadly and Ross 2001 (from memory): C (1 - exp(-0.125 A)); 0 in clear air, C in the deepest fade."""
    fade_db = np.array([-1.0, 0.0, 8.0, 16.0, 300.0])
    wanted = 3.0 * np.array([0.0, 0.0, 1.0 - np.exp(-1.0), 1.0 - np.exp(-2.0), 1.0])
    assert wet_antenna_loss_db(fade_db, 3.0) == pytest.approx(wanted)


@pytest.mark.parametrize("most_db", [0.0, 1.0, 4.6, 8.0, 20.0])
def test_rain_on_the_path_rises_with_the_fade_and_is_never_above_it(most_db):
    fade_db = np.linspace(0.0, 80.0, 801)
    rain_db = path_rain_db(fade_db, most_db)
    assert rain_db[0] == 0.0
    assert (np.diff(rain_db) > 0.0).all()
    assert (rain_db <= fade_db).all()
    assert (fade_db - rain_db <= most_db).all()
