"""Training bench: a call that never happened, worked with the checks of the field on a simulated machine.

    world      what is wrong, and what every look and remedy at this machine would give; pure, by seed
    session    one trainee's work: looks, remedies, what was stopped and why, the cause named; pure
    scoring    was it right, what did it cost, how safe was it
    debrief    the path taken beside the planner's, belief after every answer, as data; `text` and `plot` draw it
    draw       choose a scenario by difficulty and topic
    checking   scenarios against the simulated machine; reading one that a trainer wrote
    play       the bench in a terminal

Nothing here reads a clock or draws a number that is not given by the seed.
"""
