"""What practice does, where the next hour pays, the next session, and its review.

Takes: a golfer and assumptions about practice.
Gives: advice, a split of time, a plan, a verdict on a visit.
"""
