"""The log of putts: columns, units, files of any kind, rejects, doubts, reading rules.

Takes: a path.
Gives: a `Log`: usable putts in feet, what was left out and why.
"""
