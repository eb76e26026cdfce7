"""Statistics of trials, on plain numbers, written on the standard library alone.

From counts and stretches of time to intervals, tests, plans and verdicts. Nothing
here knows of benches, records or files, reads a clock or draws a number that no
seed gave.
"""
