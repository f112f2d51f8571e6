"""What diagnosis asks of every form of the slow causes, as arrays over the forms of one site.

Flow: causes (effects) -> HERE (once per site) -> slow.py, diagnosis.py.
Never: rows; judgement.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import all_causes
from analysis.estimates.effects import Effect
from analysis.estimates.vector import SIZE
from analysis.rows import Floats


@dataclass(frozen=True)
class ByForm:
    """usual: the amount below which half of its cases stay, 0 = not known. blurs: (forms, SIZE), what its shift is unsure of a unit of amount.
    unknowns: (forms, most of any form, SIZE), likewise what moves entries together; zeros where a form has fewer.

    log_rates: logs of how many a year begin. log_sudden, log_grows: logs of the shares that come at once and that grow.
    """

    usual: Floats
    blurs: Floats
    unknowns: Floats
    log_rates: list[float]
    log_sudden: Floats
    log_grows: Floats


def by_form(causes: Sequence[str], effects: Sequence[Effect]) -> ByForm:
    """Of the forms' causes and effects, in order."""
    none, sudden = np.zeros(SIZE), np.array([effect.sudden for effect in effects])
    unknowns = np.zeros((len(effects), max((len(effect.unknowns) for effect in effects), default=0), SIZE))
    for form, effect in enumerate(effects):
        unknowns[form, : len(effect.unknowns)] = np.reshape(effect.unknowns, (-1, SIZE))
    rates = [all_causes()[name].per_year * effect.rate for name, effect in zip(causes, effects, strict=True)]
    with np.errstate(divide="ignore"):
        log_sudden, log_grows = np.log(sudden), np.log(1.0 - sudden)
    return ByForm(
        np.array([effect.usual for effect in effects]),
        np.array([none if effect.blur is None else effect.blur for effect in effects]),
        unknowns,
        list(np.log(rates).tolist()),
        log_sudden,
        log_grows,
    )
