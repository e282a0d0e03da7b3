"""Training bench: a call that never happened, worked with the checks of the field on a simulated machine.

    world      what is wrong, and what every look and remedy at this machine would give; pure, by seed
    checking   scenarios against the simulated machine; reading one that a trainer wrote

Nothing here reads a clock or draws a number that is not given by the seed.
"""
