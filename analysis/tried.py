"""With which amounts each form of a slow cause is weighed against a shift.

Flow: slow.py (shifts, straight lines) -> HERE -> diagnosis.py.
Never: how likely a cause is.
"""

from dataclasses import replace

import numpy as np

from analysis.estimates.effects import IS_FLOW, MOST_OF
from analysis.held_level import levels_tried
from analysis.rows import Floats
from analysis.slow import Shift, SlowBench, amounts_of

AMOUNTS_TRIED = (0.8, 0.9, 1.0, 1.1)  # of a curved effect, about the straight line's answer
BENT_TRIED = (0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.4)
"""Likewise where extra head was solved for: the line may lie further off."""
FREE = 8.0  # log-likelihood within which a form is still weighed
FULL = np.isfinite(MOST_OF)
"""Places that can shift no further than so much: a column that has run out runs out no more, however large the hole."""


def amounts_tried(bench: SlowBench, moved: Shift) -> list[tuple[int, float]]:
    """Each form that may still explain the shift, with each of its amounts worth a try."""
    forms = bench.groups[moved.group]
    amounts, _, ratios = amounts_of(bench, moved, forms)
    by_flow, of_flow = _by_the_rest(bench, moved, forms)
    ratios = np.fmax(ratios, of_flow)
    best = np.nanmax(ratios)
    tried: list[tuple[int, float]] = []
    near = (ratios > best - 2 * FREE - 0.3 * abs(best)).nonzero()[0]
    for form, amount, otherwise in zip(
        forms[near].tolist(), amounts[near].tolist(), by_flow[near].tolist(), strict=True
    ):
        tried += _of_form(bench, form, amount)
        if otherwise > amount:
            tried += _of_form(bench, form, otherwise)
    return tried + levels_tried(bench, moved) if moved.group == "held" else tried


def _by_the_rest(bench: SlowBench, moved: Shift, forms: np.ndarray) -> tuple[Floats, Floats]:
    """Amounts and log-likelihood ratios of the forms whose straight line leads beyond what a place can shift, by all other places; else NaN."""
    rest = ~FULL[moved.places]
    nothing = np.full(len(forms), np.nan)
    along = bench.directions[forms]
    may = (along[:, FULL] != 0.0).any(axis=1) & (along[:, IS_FLOW] != 0.0).any(axis=1)
    if rest.all() or not rest.any() or not may.any():
        return nothing, nothing
    kept = replace(
        moved, places=moved.places[rest], mean=moved.mean[rest], covariance=moved.covariance[np.ix_(rest, rest)]
    )
    amounts, _, ratios = amounts_of(bench, kept, forms)
    return np.where(may, amounts, np.nan), np.where(may, ratios, np.nan)


def _of_form(bench: SlowBench, form: int, linear: float) -> list[tuple[int, float]]:
    effect = bench.effects[form]
    amount = (
        min(max(linear, effect.fixed[0] * 0.85), effect.fixed[0] * 1.15) if effect.fixed else min(linear, effect.most)
    )
    if not amount > 0.3 * effect.least:
        return []
    if effect.bend is not None:
        amount = float(effect.true_amount(np.array([linear]))[0])
        return [(form, min(amount * s, effect.most)) for s in BENT_TRIED]
    if effect.curved:
        amount = float(effect.true_amount(np.array([amount]))[0])
        return [(form, amount * s) for s in AMOUNTS_TRIED]
    return [(form, amount)]
