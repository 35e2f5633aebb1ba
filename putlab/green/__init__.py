"""The physics: roll-out, slope, the hole, holing out; published figures as data.

Takes: a `Skill`, a length and a green.
Gives: chances of one putt and three, average putts, what a miss leaves.
"""
