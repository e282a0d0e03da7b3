"""Full-size proofs: each works something through in numbers and writes a result file that is committed.

`causes` works every card to its verdict with answers drawn from it, `belief` compares the posterior with an independent
library, `plan` compares what the planner does with the exact optimum.
"""
