"""Unexplained: the figures leave what this pump does when healthy, and no cause above explains them."""

from analysis.causes.registry import Advice, CauseFile, register


def evidence(figures: dict[str, float]) -> str:
    """One sentence: the entries that moved most."""
    moved = sorted(((abs(v), k, v) for k, v in figures.items() if k.startswith("shift_")), reverse=True)[:3]
    told = ", ".join(f"{name.removeprefix('shift_')} by {value:+.2f}" for _, name, value in moved)
    return f"The day's figures left what this pump does when healthy ({told or 'no water at a load that fits no known cause'}), and no known cause explains them."


register(
    CauseFile(
        "unexplained",
        per_year=0.02,
        judged="day",
        check="Compare the figures with what was done on site lately; time a bucket at the tank and read the controller's display.",
        advice=Advice(
            own=(
                "Write down what was changed or repaired lately.",
                "Time a bucket at the tank and compare it with the meter.",
            ),
            technician=(
                "Check every sensor against a hand instrument first; then pump, cable and array in that order.",
            ),
            cautions=("By day the array is live: isolate, lock and test before touching anything.",),
        ),
        evidence=evidence,
    )
)
