"""Fill in a sheet as a person would: readings in its cells, the file saved where it was."""

import numpy as np
import pandas as pd
from openpyxl import load_workbook


def _readings(row, rng):
    """Return invented readings of a planned row, in the unit of its columns."""
    unit = "m" if "distance_m" in row else "ft"
    length = row[f"distance_{unit}"]
    if row["drill"] == "counted":
        taken = int(rng.integers(1, 4))
        left = {} if taken == 1 else {f"leave_{unit}": round(float(length) / 8, 1)}
        return {"putts_taken": taken} | left
    roll = round(float(length) * rng.normal(1.02, 0.08), 1)
    return {"line_deg": round(rng.normal(0.3, 1.4)), f"roll_{unit}": roll}


def fill_in(path, *, seed=1, skip=0):
    """Write readings into all but the first rows of a CSV or workbook; return how many."""
    rng = np.random.default_rng(seed)
    if path.suffix == ".csv":
        table = pd.read_csv(path, dtype=object)
        for number, row in enumerate(table.to_dict("records")):
            for name, value in _readings(row, rng).items() if number >= skip else ():
                table.loc[number, name] = value
        table.to_csv(path, index=False)
        return len(table) - skip
    book, filled = load_workbook(path), 0
    for sheet in (book[name] for name in ("putts", "game") if name in book.sheetnames):
        titles = {cell.value: cell.column for cell in sheet[1]}
        for number in range(2, sheet.max_row + 1):
            row = {title: sheet.cell(number, at).value for title, at in titles.items()}
            filled += filled >= 0
            if filled > skip:
                for name, value in _readings(row, rng).items():
                    sheet.cell(number, titles[name], value)
    book.save(path)
    return filled - skip
