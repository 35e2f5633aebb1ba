"""Did a change help: the design of a trial, the comparison, its verdict.

Takes: a fit of a log with conditions.
Gives: putts and visits needed; one verdict with its reasons.
"""
