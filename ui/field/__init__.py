"""The field desk: one question a screen, readings at any time, a rail that never leaves.

acts.py       what a tap does: store first, then draw anew
rail.py       stop, leading suspects, minutes, take back
question.py   the one question, with its cautions, reason and answers
values.py     typed readings with any unit
ranking.py    suspects with what fits and what does not; doubts; other checks
verdict.py    what to do, proof, "I did it"
closing.py    what it was and what proved it, asked wherever a call is closed
log.py        what was told; notes; who is at the machine; report and close
desk.py       the frame
"""
