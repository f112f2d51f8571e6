"""A second plant, written apart from the samples and from the analysis, to test the diagnosis on what it was not built beside.

Quasi-static: each minute is solved on its own but for tank, temperature and the well's slow answer. Plainer than the sample plants and
different in every law, so that what holds on both is not a habit of one of them.
"""
