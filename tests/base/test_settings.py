"""Where the kit's folders lie, and that its one interval is what it says."""

import pytest

from putlab.base.errors import OutputError
from putlab.base.settings import interval_probabilities, shipped


def test_an_installed_package_finds_what_was_shipped_in_it(tmp_path, monkeypatch):
    (tmp_path / "putlab" / "_shipped" / "notebooks").mkdir(parents=True)
    monkeypatch.setattr("putlab.base.settings.PACKAGE", tmp_path / "putlab")
    assert shipped("notebooks") == tmp_path / "putlab" / "_shipped" / "notebooks"
    with pytest.raises(OutputError, match="without its folder data_demo"):
        shipped("data_demo")


def test_the_interval_leaves_a_twentieth_at_either_end():
    assert interval_probabilities() == pytest.approx((0.05, 0.95))
