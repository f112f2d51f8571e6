"""The causes: one file each. `registry.py` holds their shape and the list.

Flow: estimates/ and symptoms -> HERE -> diagnosis.py. Never: a cause that knows of another's file.

How to add one
1. `logger/record/causes.py`: its name, meaning, measure of size.
2. `analysis/causes/<name>.py`: frozen limits (each constant with where it comes from), `evidence(figures) -> sentence`, an `Advice` page
   (what you can do yourself, what is for a technician, cautions), and one or more of
   - `effect(plant) -> list[Effect]`: a slow cause. By what direction it moves the day's vector (estimates/vector.py), in which group
     (estimates/scatter.py), the least amount worth telling of. Slopes of this site's own pump come from `bench_of(plant)`.
     slow.py finds it, diagnosis.py weighs it against all others, slow_life.py sizes and ends it.
   - `levels(pump kind) -> {"<symptom>/<variant>": {measure: (mean, standard deviation), "rate": (share, 0)}}`: a fast cause that competes
     for a symptom (`no-water`, `not-turning`): what each measure reads under it. A measure left out may read anything.
   - `watch(view) -> list[Episode]`: a symptom of its own within the day. A flag must use nothing after `flag_ms`.
   and `register(CauseFile(...))`.
3. `tests/cases/<name>/<what_it_shows>/`: a case that fires, a quiet one.
4. `pytest tests/analysis/causes` proves it: the contract test runs over every registered cause.
"""
