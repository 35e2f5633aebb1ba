"""Settings, errors, kept results, whole-or-not writing, numbers in a golfer's words.

Takes: nothing of the kit.
Gives: what every other room shares.
"""
