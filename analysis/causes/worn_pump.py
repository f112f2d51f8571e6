"""Wear: rotor and stator, or impellers, no longer seal, and water slips back inside the pump."""

from dataclasses import dataclass

from analysis.causes.registry import Advice, CauseFile, register
from analysis.estimates.bench import LOST_AT_FULL, bench_of
from analysis.estimates.effects import Effect, relieved, shift
from analysis.plant import Plant


@dataclass(frozen=True)
class WornPumpLimits:
    """Share of the flow lost."""

    least: float = 0.04  # below it season and meter class hide it (common practice, no source)
    most: float = 0.7
    usual: float = 0.2  # half of all stay below (a guess)
    rubs_less: float = 0.1  # of a helical rotor's torque, for each unit of flow lost, and how far that is open
    rubs_open: float = 0.12
    late_open: float = 2.0  # risers for each unit of flow lost: a worn impeller must turn faster before it lifts at all
    turns_open: float = 0.06  # likewise of an impeller's, whose own flow may be more or less than it was


LIMITS = WornPumpLimits()


def effect(plant: Plant) -> list[Effect]:
    """A flow that slips back, about constant, for it follows the lift and not the speed.

    So flow per turn falls, at low speed most. A helical rotor turns against less drawdown and friction, and one that has lost its
    tight fit rubs less besides: the fit takes a tenth to a quarter of its torque (common practice, no source). The power of impellers
    at given speed stays about what it was.
    """
    bench = bench_of(plant)
    rubs, open_ = (LIMITS.rubs_less, LIMITS.rubs_open) if plant.helical else (0.0, LIMITS.turns_open)
    back = bench.constant_loss()
    torque = relieved(plant, bench, LOST_AT_FULL * float(bench.flow_m3_h[-1]), of_well=1.0, of_riser=1.0) - rubs
    return [
        Effect(
            None,
            shift(q=back, n=back + bench.flow_per_power * torque, t=torque, i=torque),
            LIMITS.least,
            LIMITS.most,
            lost=back,
            loose=0.25,
            curved=True,
            sudden=0.15,
            blur=shift(t=open_, i=open_, first=0.0 if plant.helical else LIMITS.late_open),
            usual=LIMITS.usual,
        )
    ]


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return (
        f"The pump lifts {100 * figures.get('size', 0.0):.0f} % less for the same speed and head than it did before, most at low "
        "speed, while the torque that it needs has not risen."
    )


register(
    CauseFile(
        "worn-pump",
        per_year=0.12,
        judged="day",
        check="Time a bucket of known volume at the tank to be sure of the meter; then shut the valve at the wellhead for a few "
        "seconds only if the installer's manual allows it, and read the pressure: a worn pump does not reach its head.",
        advice=Advice(
            own=(
                "Time how long a bucket or drum of known volume takes at the tank and compare it with the meter.",
                "Look whether the water carries sand: sand wears a pump in months.",
            ),
            technician=(
                "Compare flow per turn and head with the datasheet at two speeds.",
                "Watch the water column after switching off: if it drains, look for a leak or a bad check valve before lifting the pump.",
                "Lift the pump and measure rotor, stator or impellers; look for the source of sand.",
            ),
            cautions=(
                "Lifting a pump is heavy work over an open well: rig, gloves, nobody below the load, two people at least.",
                "Switch off and lock the array's isolator first: the cable is live whenever the sun shines.",
            ),
        ),
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
