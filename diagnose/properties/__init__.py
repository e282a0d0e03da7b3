"""Properties of refrigerants, water and glycol mixtures from committed tables.

The tables are written by ``tests/calculators/regenerate_tables.py`` from CoolProp; the running tool reads
them with the standard library only, one refrigerant at a time, when it is first asked for.
"""
