"""A quasi-steady model of the whole machine: six pure layers, each fault entering in one. See simulate.py."""
