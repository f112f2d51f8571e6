"""Failed start: sun enough, the pump asked to run, and no running."""

from analysis.causes.registry import BRUSHED, HELICAL, Advice, CauseFile, Levels, OfKind, beware, register


def levels(_kind: str) -> dict[str, Levels]:
    """Nothing is fed, no code: the controller does not try, or tries and gives up without a word. Most often at a start.
    Two in five do so now and then only, and start hours late without a hand (a guess).
    Seldom it says why, and stands with a code of which nobody but its manual knows (a guess);
    then no try is seen, while a motor that does not turn is locked out after some. One that is not locked out drops its code between.
    Or it begins its start again and again and gives up: to turn the field and find the rotor it takes less than the rated current, whose loss
    in the copper is about a tenth of full power, while a rotor that is held takes all that the drive lets through (common practice, no source).
    """
    quiet = {
        "current": (0.0, 0.1), "fed": (0.0, 0.02), "push": (0.03, 0.04), "code": (0.0, 0.1), "volts": (1.2, 0.12), "onset": (0.7, 0.46), "stood": (1.0, 1.0),
        "room": (1.15, 0.15), "still": (0.9, 0.3), "pressed": (0.0, 0.05), "spun": (0.0, 0.2),
        "sprang": (0.9, 0.25), "again": (0.9, 0.7),
    }  # fmt: skip
    return {
        "not-turning/silent": {**quiet, "attempts": (0.0, 0.1), "vain": (0.0, 0.1), "rate": (0.4, 0.0)},
        "not-turning/now and then": {
            **quiet,
            "attempts": (0.0, 0.1),
            "vain": (0.0, 0.1),
            "onset": (0.9, 0.35),
            "stood": (0.1, 0.4),
            "rate": (0.3, 0.0),
        },
        "not-turning/with a code": {
            **quiet,
            "attempts": (0.0, 0.012),
            "vain": (0.0, 0.1),
            "current": (0.05, 0.15),
            "code": (0.9, 0.25),
            "rate": (0.1, 0.0),
        },
        "not-turning/tries": {**quiet, "attempts": (0.3, 0.25), "vain": (0.5, 0.5), "rate": (0.3, 0.0)},
        "not-turning/gives up": {
            **quiet,
            "current": (0.85, 0.15),
            "fed": (0.012, 0.012),
            "push": (0.09, 0.04),
            "code": (0.6, 0.5),
            "attempts": (0.08, 0.08),
            "vain": (0.8, 0.4),
            "still": (1.0, 0.15),
            "room": (1.25, 0.12),
            "volts": (1.25, 0.12),
            "rate": (0.06, 0.0),
        },
    }


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    power = f"; it took {100 * figures['fed']:.1f} % of full power" if "fed" in figures else ""
    return f"For {figures.get('hours', 0.0):.1f} h the sun would have run the pump, nothing told it to stand, and it did not run{power}."


register(
    CauseFile(
        "failed-start",
        per_year=0.4,
        judged="minute",
        check="See whether the pump's switch is on, and what the controller's display or lamps say; switch it off, wait five minutes, switch it on, "
        "once. If the motor hums and no water comes, switch it off and leave it off.",
        advice=Advice(
            own=(
                "See whether the pump's own switch is on; read display and lamps.",
                "Switch off, wait five minutes, switch on again, once.",
            ),
            technician=(
                "Read the controller's journal; measure array voltage at the isolator, and the motor's windings with the array isolated and the drive discharged.",
                "Look at float, probe and remote-stop inputs: a broken wire reads as stop.",
            ),
            cautions=(
                beware(
                    "Inside the box array voltage stands whenever it is light, and the drive keeps a charge after it is isolated: licensed people only.",
                    "licensed",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                technician=(
                    "A rotor that stood for weeks sticks to its stator: free it by the maker's procedure only.",
                )
            ),
        },
        of_motor={
            BRUSHED: OfKind(technician=("Look at the brushes first: worn ones leave the motor without current.",))
        },
        evidence=evidence,
        levels=levels,
    )
)
