"""Counted games: dealt, played, scored, and how much wider a golfer is when it counts."""
