"""The placement desk: a machine from receipt to return, one step a screen.

acts.py       what a tap does: store first, then draw anew
listing.py    placements there are, and a new one
desk.py       the frame: rail, trouble calls, the current step, drawers
step.py       one step: cautions, what to do, figures worked out, answers
fields.py     readings and figures of the site as they stand in the fields
photos.py     pictures made small before they are kept
plate.py      the machine as its plate says, and the pump in use
trends.py     baseline, round sheet, early words and their pictures
record.py     all steps, what was done, who is here, report and end
"""
