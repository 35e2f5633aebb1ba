"""Putts on a plane slope: the green, aim and pace, where they drop and where they lie."""
