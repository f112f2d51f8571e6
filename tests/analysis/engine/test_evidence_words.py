"""What people read says only what was read."""

from analysis.causes.registry import all_causes


def test_dust_speaks_of_the_arrays_voltage_only_where_one_is_read() -> None:
    words = all_causes()["panel-soiling"].sentence
    assert "voltage" in words({"size": 0.1, "shift_av0": 0.0}, None)
    assert "voltage" not in words({"size": 0.1}, None)
    assert "voltage" in words({"size": 0.1, "came_back": 1.0, "shift_av0": 0.0}, None)
    assert "voltage" not in words({"size": 0.1, "came_back": 1.0}, None)


def test_a_single_start_an_hour_is_said_as_people_say_it() -> None:
    words = all_causes()["short-cycling"].sentence
    assert "about once an hour" in words({"starts": 1.2}, None)
    assert "about 4 times an hour" in words({"starts": 4.1}, None)
