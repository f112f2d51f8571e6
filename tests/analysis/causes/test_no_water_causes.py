"""Which cause a pump without water is given: by its load against one that lifts nothing, by how it began, by the level."""

import numpy as np
import pytest

from analysis.diagnosis import weigh_levels

HELICAL, CENTRIFUGAL = "helical-rotor", "multistage-centrifugal"
COMMON = {"flow": 0.0, "lead": 0.0, "backwards": 0.0, "probe": 1.0}


@pytest.mark.parametrize(
    ("kind", "reads", "cause"),
    [
        (HELICAL, {"torque": -1.3, "idle": 0.0, "water": 0.1, "onset": 1.0}, "dry-running"),
        (HELICAL, {"torque": -1.3, "idle": 0.1, "water": 14.0, "drawn": 0.0, "onset": 0.0}, "reverse-rotation"),
        (HELICAL, {"torque": -1.3, "idle": 0.1, "lead": 1.0, "onset": 0.0}, "reverse-rotation"),
        (HELICAL, {"torque": -3.0, "idle": -1.7, "onset": 1.0}, "broken-shaft"),
        (HELICAL, {"torque": 0.8, "idle": 2.1, "above": 80.0}, "closed-delivery"),
        (HELICAL, {"torque": 0.0, "idle": 1.3, "drawn": 1.0, "water": 8.0}, "sensor-fault"),
        (CENTRIFUGAL, {"torque": -0.5, "idle": -0.03, "drawn": 0.0, "water": 14.0}, "closed-delivery"),
        (CENTRIFUGAL, {"torque": -1.0, "idle": -0.6, "water": 0.0}, "dry-running"),
        (CENTRIFUGAL, {"torque": 0.0, "idle": 0.4, "drawn": 0.0, "water": 14.0, "onset": 0.0}, "reverse-rotation"),
        (CENTRIFUGAL, {"torque": 0.0, "idle": 0.4, "drawn": 1.0, "water": 8.0, "pipe": 1.0}, "sensor-fault"),
        (CENTRIFUGAL, {"torque": 0.0, "idle": 0.4, "drawn": 1.3, "water": 8.0, "pipe": 0.0}, "riser-leak"),
        (
            CENTRIFUGAL,
            {"torque": -0.7, "idle": -0.05, "flow": 0.09, "lead": 1.0, "onset": 1.0, "before": 0.22, "revived": 0.6},
            "reverse-rotation",
        ),
        (
            CENTRIFUGAL,
            {"torque": -0.7, "idle": -0.05, "flow": 0.09, "lead": 0.0, "onset": 1.0, "before": 0.22, "revived": 0.6},
            "dry-running",
        ),
        (CENTRIFUGAL, {"torque": -2.2, "idle": -1.7, "onset": 1.0}, "broken-shaft"),
        (
            HELICAL,
            {"torque": -1.2, "idle": 0.15, "water": 12.0, "drawn": 0.4, "onset": 1.0, "fell": -1.4},
            "broken-shaft",
        ),
        (
            HELICAL,
            {"spare": 0.57, "flow": 0.08, "onset": 1.0, "fell": -0.02, "before": 0.25, "part": 0.35},
            "riser-leak",
        ),
        (HELICAL, {"spare": 0.2, "flow": 0.08, "onset": 1.0, "fell": -0.6, "before": 0.25, "part": 1.0}, "dry-running"),
    ],
)
def test_cause_of_no_water(kind: str, reads: dict[str, float], cause: str) -> None:
    assert weigh_levels("no-water", kind, COMMON | reads).cause == cause


def test_shaft_breaks_while_it_turns_and_leads_are_moved_while_it_stands() -> None:
    reads = COMMON | {"idle": -0.3, "torque": -1.6, "water": 14.0, "drawn": 0.0}
    stood = weigh_levels("no-water", HELICAL, reads | {"onset": 0.0}).shares["reverse-rotation"]
    ran = weigh_levels("no-water", HELICAL, reads | {"onset": 1.0}).shares["reverse-rotation"]
    assert ran < 0.5 * stood


def test_nobody_goes_without_water_for_weeks_but_a_dead_meter_is_missed_as_long() -> None:
    reads = COMMON | {"sun": -0.15, "spare": 0.7, "onset": 0.0}
    for kind in (HELICAL, CENTRIFUGAL):
        shares = [weigh_levels("no-water", kind, reads | {"ran": float(np.log(h))}).shares for h in (0.5, 100.0)]
        brief, long = (at["sensor-fault"] / at["closed-delivery"] for at in shares)
        assert long > 2.0 * brief
    assert weigh_levels("no-water", HELICAL, reads | {"ran": float(np.log(100.0))}).cause == "sensor-fault"
