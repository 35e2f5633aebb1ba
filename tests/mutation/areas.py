"""What is put to the test, and by which tests."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Area:
    """Modules that carry one part of the kit's claim.

    Attributes
    ----------
    modules : dict of str to (tuple of str or None)
        Path of the module, and its functions of interest where not all of them are.
    tests : dict of str to tuple of str
        Path of the module to the test files that bear on it and are quick: nothing that
        samples a model.
    """

    modules: dict
    tests: dict


ROLLING = ("test_roll", "test_capture")
HOLING_OUT = ("test_flat", "test_strike", "test_leaves", "test_near_hole", "test_holeout")
READING = ("", "readings_logp", "cell_location", "interval_probability")
FLAT = [
    f"putlab/flat_green/{name}.py" for name in ("flat", "strike", "fan", "leaves", "near_hole")
]

AREAS = {
    "physics": Area(
        {"putlab/roll.py": None, "putlab/capture.py": None},
        {"putlab/roll.py": ROLLING, "putlab/capture.py": ROLLING},
    ),
    "interval likelihood": Area(
        {"putlab/readings.py": None, "putlab/spread.py": READING},
        {
            "putlab/readings.py": ("test_readings", "test_holing_data"),
            "putlab/spread.py": ("test_spread",),
        },
    ),
    "hole-out": Area(
        dict.fromkeys(["putlab/holeout.py", *FLAT]),
        dict.fromkeys(["putlab/holeout.py", *FLAT], HOLING_OUT),
    ),
    "verdict": Area(
        {"putlab/trials/looking.py": None, "putlab/verdict.py": None},
        {"putlab/trials/looking.py": ("test_looking",), "putlab/verdict.py": ("test_verdict",)},
    ),
}
