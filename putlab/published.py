"""Published figures, each with its source: facts to check the kit against, and references."""

# Rules of Golf (R&A and USGA): the hole is 4.25 inches across.
HOLE_RADIUS_FT = 4.25 / 24

# Fastest ball that still drops, dead centre on the flat (B. W. Holmes, "Putting: how a golf
# ball and hole interact", Am. J. Phys. 59, 1991; A. R. Penner, "The physics of putting",
# Can. J. Phys. 80, 2002). Off centre by d it falls as 1 - (d / R)^2: Penner (2002), recalled
# from memory.
CAPTURE_FT_S = 1.63 / 0.3048
