"""What each cause does to the simulated machine: one module per layer, and the list of causes that are scripted instead.

An effect is a function of the plant, the part of the health record it may touch, the place and the severity. Severity 0 is nothing,
1 the worst that still leaves the part what it is; each entry says in words what it means.
"""
