"""Calculators: pure functions in SI, each with its limits and source; `registry` carries uncertainty
through them.

One module per field: refrigerant, heat_transfer, steady, flow, capacity, pump, electrical, glycol, altitude.
`registry` lists them for people and for the command line; `instruments` holds the accuracy usual
instruments have. Bands and verdicts are not here: a calculator says how much, never whether it is good.
"""
