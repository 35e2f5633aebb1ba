"""Draw README's picture: the card of one player of the hall's log, as `putlab report` makes it.

`python tests/helpers/card_picture.py` writes `notebooks/card.png`; it takes Chromium.
"""

import tempfile
from pathlib import Path

from browser import Browser

from putlab.base.settings import shipped
from putlab.log.read import demo_log
from putlab.pages.page import report

PLAYER, WIDTH = "rowan", 900


def draw(target):
    """Write the card as a PNG."""
    with tempfile.TemporaryDirectory() as folder, Browser() as browser:
        page = Path(folder) / "report.html"
        report(demo_log(), path=page, player=PLAYER)
        browser.open(page, width=WIDTH)
        browser.screenshot(target, ".card")


if __name__ == "__main__":
    draw(shipped("notebooks") / "card.png")
