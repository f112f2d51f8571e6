"""Dry running: the pump turns with no water at its intake."""

import numpy as np

from analysis.causes.registry import CENTRIFUGAL, HELICAL, Advice, CauseFile, Levels, OfKind, beware, register


def levels(kind: str) -> dict[str, Levels]:
    """Flow fades, gasps and stops; torque falls to friction; the water stands at the intake and the probe, where it is honest, is dry.

    What is left is the load of a rotor with no lift upon it, and more, for it rubs in its stator without water between them; impellers
    in air throw nothing, so that bearings, seals and motor are left, a third to two thirds of what a shut valve takes. It comes while the well is pumped, and a helical rotor does not outlast it. Rivals: dead meter (load as expected), broken
    shaft (lighter still, intake under water), shut delivery (pressure up), leads exchanged (from a start on).
    """
    helical = kind == "helical-rotor"
    common = {
        "water": (0.0, 1.0),
        "above": (0.0, 2.0),
        "lead": (0.0, 0.1),
        "handled": (0.1, 0.35),
        "backwards": (0.0, 0.1),
        "before": (0.8, 0.25),
        "onset": (0.65, 0.55),
        "fell": (-0.6, 0.5),
        "drawn": (2.0, 1.2),
        "part": (1.0, 0.2),
        "pipe": (0.0, 0.3),
        "ran": (0.8, 1.5) if helical else (1.6, 2.0),
    }
    none = {
        "flow": (0.03, 0.06),
        "idle": (0.2, 0.3) if helical else (-0.8, 0.4),
        "idle_current": (0.2, 0.3) if helical else (-0.75, 0.4),
        "spare": (0.4, 0.3) if helical else (-0.8, 0.4),
    }
    gasps = {"flow": (0.2, 0.08), "torque": (-0.9, 0.5), "current": (-0.8, 0.5), "sun": (-0.8, 0.5)}
    variants = {}
    for said, wet in (("dry", 0.0), ("wet", 1.0)):
        probe = {"probe": (wet, 0.15)}
        for well, some in (("recovers", 0.9), ("stays low", 0.0)):
            known = {**common, **none, **probe, "revived": (some, 0.2), "rate": (0.18, 0.0)}
            variants[f"no-water/probe {said}, {well}"] = known
        known = {**common, **gasps, **probe, "revived": (0.7, 0.4), "rate": (0.1, 0.0)}
        variants[f"no-water/probe {said}, gasps"] = known
    return variants


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    load = ""
    if "torque" in figures:
        load = f" and its load has fallen to {100 * np.exp(figures['torque']):.0f} % of what this speed should need"
    level = ""
    if "water" in figures:
        place = "over" if figures["water"] >= 0 else "below"
        level = f"; the water stood {abs(figures['water']):.1f} m {place} the intake"
    hours = figures.get("hours", 0.0)
    ran = f"{hours:.1f} h" if hours >= 1 else f"{60 * hours:.0f} min"
    lying = figures.get("probe", 0.0) > 0.5 and ("torque" in figures or figures.get("water", 1.0) < 0.3)
    probe = "; the low-level probe said wet all the while, so test it" if lying else ""
    return f"The pump ran for {ran} with {100 * figures.get('flow', 0.0):.0f} % of the flow to be expected{load}{level}{probe}."


register(
    CauseFile(
        "dry-running",
        per_year=0.3,
        judged="minute",
        check="Switch the pump off at its own switch and let the well recover; then have the water level dipped before it is switched on again.",
        advice=Advice(
            own=(
                "Switch the pump off at its own switch: the logger cannot stop it. Let the well rest.",
                "Ask whether others draw from the same well or aquifer more than before.",
            ),
            technician=(
                "Dip the level at rest and while pumping; compare with the pump's intake.",
                "Test the low-level probe: lift it out of the water and see that the controller stops.",
            ),
            cautions=(
                beware(
                    "The controller's probe terminals may stand at array voltage: licensed people only.", "licensed"
                ),
                beware("Keep the dipping tape clean, this may be drinking water, and cover the well again.", "water"),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                technician=(
                    "Pump slower, or set the pump deeper if the hole allows; look whether the stator has suffered.",
                ),
                cautions=(
                    beware(
                        "A helical rotor that runs dry burns its stator within minutes: do not try again and again.",
                        "dry-rotor",
                    ),
                ),
            ),
            CENTRIFUGAL: OfKind(
                technician=(
                    "Hold the flow below what the well gives, or set the pump deeper if the hole allows; turned too slowly it lifts nothing.",
                ),
                cautions=(
                    beware(
                        "Water cools and greases its bearings and cools its motor: do not run it dry again and again.",
                        "dry-bearings",
                    ),
                ),
            ),
        },
        evidence=evidence,
        levels=levels,
    )
)
