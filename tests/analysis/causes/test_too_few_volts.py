"""A pump that stands because too few modules of its only string are left: no dusk, and no fault of the controller's."""

from analysis.causes.registry import all_causes
from analysis.causes.string_out import evidence
from analysis.diagnosis import weigh_levels
from analysis.not_turning import _dusk
from analysis.untold import SWITCHED_OFF
from tests.analysis.causes.test_standing_rules import PLANT, seen_of


def test_half_the_voltage_in_measured_light_is_no_dusk() -> None:
    assert not _dusk(PLANT, seen_of(1, pv_voltage_v=55.0)).any()
    assert _dusk(PLANT, seen_of(1, pv_voltage_v=55.0, measured=False)).all(), "a clear sky is only supposed"
    assert _dusk(PLANT, seen_of(1, pv_voltage_v=101.0)).all(), "a few per cent of the light leave most of the voltage"


def test_an_array_at_rest_with_a_half_of_its_voltage_has_lost_modules() -> None:
    stands = {"attempts": 0.0, "fed": 0.005, "current": 0.0, "code": 0.0, "onset": 1.0, "stood": 0.0}
    half, whole = (
        weigh_levels("not-turning", "helical-rotor", stands | {"volts": volts}, (SWITCHED_OFF,))
        for volts in (0.62, 1.2)
    )
    assert half.cause == "string-out"
    assert half.shares["string-out"] > 0.4
    assert whole.shares["string-out"] < 0.02


def test_its_words_say_how_much_voltage_is_left() -> None:
    said = evidence({"attempts": 0.0, "volts": 0.62, "hours": 9.0})
    assert "62 % of its voltage" in said
    assert "9.0 h" in said
    assert all_causes()["string-out"].levels is not None
