"""What follows from a call: calculators, findings, rules, belief, plan and the advice drawn from them."""

import os

# The arrays of one call are small: several threads of the linear-algebra library only wait for each other
# (one whole advice took 175 ms with two threads, 110 ms with one, on two cores). Read once, when NumPy is first imported.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
