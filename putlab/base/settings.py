"""Choices that the whole kit shares, each made once and for a reason; where its folders lie."""

from pathlib import Path

from putlab.base.errors import OutputError

PACKAGE = Path(__file__).parents[1]

# The one interval of the kit: 90 % equal-tailed. Wide enough to be honest about a few
# dozen putts, and its ends are far enough from the extremes for 2,000 draws to place them.
INTERVAL = 0.90

# Any integer would do; a fixed one makes a report repeatable without asking for a seed.
SEED = 20260

# Convergence limits (Vehtari and others, "Rank-normalization, folding, and localization",
# Bayesian Analysis 16, 2021): R-hat below 1.01 and bulk ESS above 100 a chain.
RHAT_LIMIT = 1.01
ESS_LIMIT = 400

# Four chains are what split R-hat is calibrated for; 1,000 draws of each keep the ends of
# a 90 % interval steady to about a twentieth of its width.
CHAINS = 4
DRAWS = 1000
TUNE = 300

# Speed at which a Stimpmeter hands the ball to the green, ft/s
# (USGA Stimpmeter Instruction Booklet).
STIMPMETER_FT_S = 6.00

# A green of ordinary pace, used where a log does not state its own.
STIMP_FT = 10.0

# The international foot, exactly; every length of the kit is in feet inside.
M_PER_FT = 0.3048

# How far past the hole a golfer aims to roll the ball where nothing else is said.
PAST_FT = 1.0

# Spreads of a golfer of whom nothing is known, an assumption: those of tour professionals in a
# published fit of direction and distance, 1.02 degrees and 0.080 of the distance (A. Gelman,
# "Model building and expansion for golf putting", Stan case study, 2019), rounded.
LINE_SD_DEG, PACE_SD_PCT = 1.0, 8.0

# A bound that no reading reaches; infinity itself would put 0 x inf into the gradient.
FAR = 1e7


def interval_probabilities() -> tuple[float, float]:
    """Return the lower and upper tail probabilities of the kit's interval."""
    tail = (1 - INTERVAL) / 2
    return tail, 1 - tail


def shipped(folder: str) -> Path:
    """Return where a folder of the kit is: in the source tree, or in the installed package."""
    for place in (PACKAGE / "_shipped" / folder, PACKAGE.parent / folder):
        if place.is_dir():
            return place
    raise OutputError(f"this installation of the kit came without its folder {folder}.")
