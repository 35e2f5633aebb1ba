"""Sampling, its checks, and the posterior of every player.

Takes: a `Log`.
Gives: a fit that passed its checks, and golfers drawn from it.
"""
