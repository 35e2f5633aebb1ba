"""What is put to the test, and by which tests."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Area:
    """Modules that carry one part of the kit's claim.

    Attributes
    ----------
    modules : dict of str to (tuple of str or None)
        Path of the module, and its functions of interest where not all of them are.
    tests : tuple of str
        Test files that bear on it and are quick: nothing that samples a model.
    """

    modules: dict
    tests: tuple


AREAS = {
    "physics": Area(
        {"putlab/roll.py": None, "putlab/capture.py": None},
        ("test_roll", "test_capture"),
    ),
    "interval likelihood": Area(
        {
            "putlab/readings.py": None,
            "putlab/spread.py": ("", "readings_logp", "cell_location", "interval_probability"),
        },
        ("test_readings", "test_spread"),
    ),
    "hole-out": Area(
        {
            "putlab/holeout.py": None,
            "putlab/flat_green/flat.py": None,
            "putlab/flat_green/strike.py": None,
            "putlab/flat_green/fan.py": None,
            "putlab/flat_green/leaves.py": None,
            "putlab/flat_green/near_hole.py": None,
        },
        (
            "test_flat",
            "test_strike",
            "test_fan",
            "test_leaves",
            "test_near_hole",
            "test_holeout",
        ),
    ),
    "verdict": Area(
        {"putlab/trials/looking.py": None, "putlab/verdict.py": None},
        ("test_looking", "test_verdict"),
    ),
}
