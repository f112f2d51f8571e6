"""Stalled motor: it is fed and does not turn: sand, stuck rotor, swollen stator."""

from analysis.causes.registry import BRUSHED, CENTRIFUGAL, HELICAL, Advice, CauseFile, Levels, OfKind, beware, register


def levels(_kind: str) -> dict[str, Levels]:
    """Attempts with a current near that of a locked rotor and no speed. A controller that gives up within seconds, with a code, shows
    little of them in a row's mean: the array stands at open circuit between, and what is fed is a few per cent. One that has tried a
    few times locks itself out until somebody comes: its code stands, and nothing is fed (common practice, no source).
    """
    common = {
        "onset": (0.4, 0.5),
        "stood": (1.0, 1.0),
        "room": (1.2, 0.15),
        "still": (1.0, 0.15),
        "vain": (0.9, 0.3),
        "pressed": (0.0, 0.05),
        "spun": (0.0, 0.15),
        "sprang": (0.9, 0.25),
        "again": (0.5, 0.7),
    }
    return {
        "not-turning/fed": {
            **common,
            "current": (1.9, 0.7),
            "fed": (0.12, 0.12),
            "code": (0.3, 0.5),
            "attempts": (0.4, 0.35),
            "push": (0.25, 0.2),
            "volts": (1.1, 0.15),
            "rate": (0.6, 0.0),
        },
        "not-turning/short tries": {
            **common,
            "current": (1.3, 0.5),
            "fed": (0.015, 0.02),
            "code": (0.8, 0.3),
            "attempts": (0.06, 0.08),
            "push": (0.2, 0.15),
            "volts": (1.25, 0.12),
            "rate": (0.4, 0.0),
        },
        "not-turning/locked out": {
            **common,
            "current": (0.0, 0.15),
            "fed": (0.0, 0.02),
            "code": (1.0, 0.15),
            "attempts": (0.0, 0.05),
            "push": (0.03, 0.04),
            "volts": (1.25, 0.12),
            "onset": (0.2, 0.4),
            "rate": (0.2, 0.0),
        },
    }


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    amps = f" with up to {figures['current']:.1f} times the rated current" if "current" in figures else ""
    return f"The motor is fed{amps} and does not turn; {figures.get('hours', 0.0):.1f} h of sun were lost."


register(
    CauseFile(
        "stalled-motor",
        per_year=0.1,
        judged="minute",
        check="Switch the pump off at its own switch and leave it off: each attempt heats the motor.",
        advice=Advice(
            own=("Switch the pump off at its own switch and leave it off.",),
            technician=("Try once in the other direction, only where the maker's manual allows it, to free sand.",),
            cautions=(
                beware("A motor fed and not turning burns out: do not let it try again and again.", "tries"),
                beware(
                    "Leads are for licensed people, who isolate and lock the array and wait until the drive has discharged; lifting needs a rig and two people.",
                    "licensed",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                technician=("Lift the pump: look for sand, a stator swollen by heat or oil, a seized bearing.",),
                cautions=(
                    beware(
                        "Backwards a helical rotor may unscrew riser or couplings: not for long, and not without the maker's word.",
                        "other-way",
                    ),
                ),
            ),
            CENTRIFUGAL: OfKind(
                technician=(
                    "Lift the pump: look for sand or stones between impellers and bowls, a bent shaft, a worn thrust bearing.",
                ),
            ),
        },
        of_motor={
            BRUSHED: OfKind(
                technician=("Look at brushes and commutator too: worn brushes feed it poorly or not at all.",)
            )
        },
        evidence=evidence,
        levels=levels,
    )
)
