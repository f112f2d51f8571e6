"""What extra head does to pump and well, solved: against the pump's own curve, against what each law must look like, and back again."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.causes.registry import all_causes
from analysis.estimates.bench import bench_of
from analysis.estimates.effects import Effect
from analysis.estimates.lifted import LAWS, lifted
from analysis.estimates.scatter import tolerance_modes
from analysis.estimates.vector import PLACE
from analysis.plant import Plant, plant_of
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

MIDDLE = {"helical": "none/helical_middle", "centrifugal": "dry-running/centrifugal_middle"}
FULL = {"helical": "riser-leak/helical_full", "centrifugal": "closed-delivery/centrifugal_full"}
KINDS = list(MIDDLE)


@cache
def plant(case: str) -> Plant:
    return plant_of(read_site((HERE / case / "site.toml").read_text(), "site.toml"))


def bands(row: np.ndarray, name: str) -> np.ndarray:
    return row[[PLACE[f"{name}{band}"] for band in range(3)]]


def forms(cause: str, case: str) -> list[Effect]:
    effect = all_causes()[cause].effect
    assert effect is not None
    return effect(plant(case))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("law", list(LAWS))
def test_the_pump_gives_the_flow_that_was_solved_for(kind: str, law: str) -> None:
    """A second route: the pump asked for its flow at the head that the flow makes."""
    site = plant(MIDDLE[kind])
    bench = bench_of(site)
    most = 0.2 * float(bench.head_m[-1])
    flow = bench.flow_m3_h * np.exp(lifted(site, law, most).at(most)[0])
    head = site.system.head_m(flow) + most * LAWS[law](site, flow)
    assert site.pump.flow_of_power(bench.power_w, head) == pytest.approx(flow, rel=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_each_law_has_its_own_shape_over_power(kind: str) -> None:
    """Per metre at high power: a fallen level costs most at low power, a poorer well less there, an obstruction next to nothing."""
    site = plant(MIDDLE[kind])
    resting, drawdown, obstruction = (
        lifted(site, law, 5.0).at(5.0)[0] for law in ("resting", "drawdown", "obstruction")
    )
    assert resting[0] < drawdown[0] < obstruction[0] < 0.0
    assert resting[0] < resting[-1]
    assert abs(obstruction[0] / obstruction[-1]) < abs(drawdown[0] / drawdown[-1]) < abs(resting[0] / resting[-1])


@pytest.mark.parametrize("kind", KINDS)
def test_friction_and_drawdown_fall_with_the_flow_that_they_take(kind: str) -> None:
    site = plant(MIDDLE[kind])
    most = 0.6 * float(bench_of(site).head_m[-1])
    for law in ("drawdown", "obstruction"):
        solved = lifted(site, law, most)
        assert abs(solved.at(most)[0][-1]) < 2.0 * abs(solved.at(0.5 * most)[0][-1])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("cause", ["falling-water-level", "clogging"])
def test_the_amount_is_found_again_along_the_straight_line(kind: str, cause: str) -> None:
    bent = [form for form in forms(cause, MIDDLE[kind]) if form.bend is not None]
    assert bent
    for form in bent:
        assert form.bend is not None
        amount = 0.4 * form.most
        along = np.interp(amount, form.bend.amounts, form.bend.along)
        assert form.true_amount(np.array([along]))[0] == pytest.approx(amount, rel=1e-6)
        lost = form.share_lost(np.array([form.usual, amount]), np.array([0.0, 0.0, 1.0]))
        assert lost == pytest.approx(
            1.0 - np.exp([bands(form.bend.at(a), "q")[-1] for a in (form.usual, amount)]), abs=0.01
        )


@pytest.mark.parametrize("case", [*MIDDLE.values(), *FULL.values()])
@pytest.mark.parametrize("cause", ["falling-water-level", "clogging"])
def test_the_forms_share_out_one_cause(case: str, cause: str) -> None:
    assert sum(form.rate for form in forms(cause, case)) == pytest.approx(1.0)


def test_a_table_without_speeds_tells_by_the_rated_one_also_of_impellers() -> None:
    """A speed misread by a share shifts flow by the affinity laws: more than in proportion, for the head reached goes with its square."""
    facts = plant(MIDDLE["centrifugal"]).facts
    curve = tuple(replace(row, speed_rpm=None) for row in facts.pump.curve)
    motor = replace(facts.motor, rated_speed_rpm=2900.0)
    silent = plant_of(replace(facts, pump=replace(facts.pump, curve=curve), motor=motor))
    assert silent.turns_by_rating
    assert (bench_of(silent).flow_per_head < 0).all()
    misread = tolerance_modes(silent)["turns"].direction
    assert (bands(misread, "n") > 1.0).all()
    unrated = plant_of(replace(silent.facts, motor=replace(motor, rated_speed_rpm=None)))
    assert "turns" not in tolerance_modes(unrated)
