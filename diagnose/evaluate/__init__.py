"""Evaluation on simulated calls: thousands of them drawn, worked by the planner to its verdict, counted.

    cases     one call by (seed, number): machine, day, what is wrong, who calls
    answers   what the person at that machine would answer to each look
    mending   what follows a verdict: the remedy done, the machine tried again, what is told of it
    work      the call worked verdict after verdict until it is cured; one row of what happened
    run       many calls: on this machine or on a Dask scheduler, kept line by line, resumed after a kill
    summary   rows to numbers; before and after
    page      the numbers as one page that needs no network

Nothing is tuned on these seeds or on the held-out machine: they judge the cards, they do not make them.
"""
