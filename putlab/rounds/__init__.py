"""What a skill is worth: estimates by length, rounds, reference golfers, causes, games.

Takes: a golfer, a round, a reference.
Gives: putts, strokes lost and to what, with intervals.
"""
