"""The telephone desk: the script to read out, one safe check at a time, to somebody who is heard and not seen.

It shows checks for everybody and no others, whoever the call says is at the machine (`diagnose.telephone`), and has
no switch that changes this; a technician goes on with the same call at the field desk.
"""
