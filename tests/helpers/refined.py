"""The kit's integrals on the flat and on a slope with several times their nodes."""

from contextlib import contextmanager

import pytest

from putlab.green import leaves, lies, slope_hole_out

# Multiplied as they are, and as the steps between places.
NODES = {
    leaves: ["AT_HOLE", "AT_HOLE_SOFT", "AT_HOLE_HARD", "AT_HOLE_ROLLS", "AT_HOLE_ROLLS_PER_FT"]
    + ["BESIDE", "BESIDE_PER_FT", "ROLLS", "ROLLS_PER_FT"],
    lies: ["DIRECTIONS", "DROPPING"],
    slope_hole_out: ["DIRECTIONS"],
}


@contextmanager
def refined(times):
    """Compute with so many times the nodes of every integral."""
    with pytest.MonkeyPatch.context() as patch:
        for module, names in NODES.items():
            for name in names:
                count = getattr(module, name)
                # Numbers of nodes are whole, those for each foot are not.
                patch.setattr(module, name, type(count)(times * count))
        patch.setattr(lies, "NODES", tuple(int((count - 1) * times) + 1 for count in lies.NODES))
        count = int((slope_hole_out.DISTANCES - 1) * times) + 1
        patch.setattr(slope_hole_out, "DISTANCES", count)
        yield
