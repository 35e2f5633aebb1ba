"""The story of a putt: readings as counted intervals, priors, the one equation.

Takes: a `Log` and `SpreadPriors`.
Gives: unfitted models and the names of what they hold.
"""
