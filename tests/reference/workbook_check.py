"""Opens workbooks with openpyxl, a reader that shares no code with their writer: sheets, numbers, charts and what they show.

usage: workbook_check.py PROGRAM
"""

import csv
import pathlib
import subprocess
import sys
import tempfile

import openpyxl
from openpyxl.utils.cell import range_boundaries

SWEEP = """{"feedproof_sweep": 1, "title": "Pace and room", "scenario": "starter", "factors": {
    "pace": {"set": "press.cycle", "values": ["0.65 s", "0.7 s", "0.8 s"]},
    "room": {"set": "track.length", "low": "0.3 m", "high": "1.2 m", "step": "0.3 m"}}, "replications": 3}"""


def cells(book, reference):
    """The cells that a chart refers to."""
    sheet, area = reference.rsplit("!", 1)
    left, top, right, bottom = range_boundaries(area.replace("$", ""))
    rows = book[sheet.strip("'")].iter_rows(min_row=top, max_row=bottom, min_col=left, max_col=right)
    return [cell for row in rows for cell in row]


def shown(book):
    """Title of the sheet, heads of its first row, and the cells of the values of each series of each chart."""
    for sheet in book:
        for chart in sheet._charts:
            for series in chart.series:
                values = getattr(series, "val", None) or series.yVal
                found = cells(book, values.numRef.f)
                errors = series.errBars[0] if isinstance(series.errBars, list) and series.errBars else series.errBars
                yield sheet, found, errors


def check_book(path, sheets):
    book = openpyxl.load_workbook(path)
    missing = [name for name in sheets if name not in book.sheetnames]
    assert not missing, f"{path.name} lacks {missing}: {book.sheetnames}"
    n_charts = 0
    for sheet, found, _ in shown(book):
        n_charts += 1
        kinds = {cell.data_type for cell in found if cell.value is not None}
        assert kinds <= {"n"} and any(cell.value is not None for cell in found), f"{path.name}, {sheet.title}: {kinds}"
        head = sheet.cell(1, found[0].column).value
        assert head and "+-" not in str(head), f"{path.name}, {sheet.title} shows {head}"
    formulas = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
    assert not formulas, f"{path.name}: formulas in {formulas}"
    assert n_charts > 0, f"{path.name} has no chart"
    return book, n_charts


def column(book, sheet, head):
    rows = list(book[sheet].iter_rows(values_only=True))
    return [row[rows[0].index(head)] for row in rows[1:]]


def main(program):
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        (folder / "pace.json").write_text(SWEEP)
        (folder / "sheet.json").write_text('{"feedproof": 1, "title": "=1+1", "stations": [{"id": "one", "type": "work",'
                                           ' "endless": true, "time": "1 s", "to": "out"}], "plan": {"shift": "1 h"}}')
        run = lambda *args: subprocess.run([program, *args], cwd=folder, check=True, stdout=subprocess.DEVNULL)
        run("run", "starter", "--replications", "6", "--draws", "0", "--limits", "2", "--xlsx", "run.xlsx")
        run("run", "sheet.json", "--replications", "2", "--xlsx", "sheet.xlsx")
        run("sweep", "pace.json", "--out", "pace", "--xlsx", "pace.xlsx")
        run("compare", "starter", "--set", "track.capacity=30", "--replications", "10", "--xlsx", "compare.xlsx")
        run("screen", "starter", "--replications", "2", "--xlsx", "screen.xlsx")
        run("limits", "starter", "--replications", "2", "--xlsx", "limits.xlsx")
        run("size", "starter", "--vary", "track.capacity=10..40:10", "--smallest", "--at-most", "20", "--xlsx", "size.xlsx")

        n = 0
        for name, sheets in [
            ("run", ["Summary", "Shifts by rate", "Account of press", "Shares of time", "Rate over the shift"]),
            ("sheet", ["Summary"]),
            ("compare", ["Differences, second less first", "Each design by itself"]),
            ("screen", ["What each number does"]),
            ("limits", ["Gain of the rate by number of t"]),
            ("size", ["Values that were asked"]),
        ]:
            n += check_book(folder / f"{name}.xlsx", sheets)[1]

        # All digits of the archive, and means over points taken anew.
        book, more = check_book(folder / "pace.xlsx", ["Levels, rate", "Points, rate", "room and pace, rate", "All points"])
        with open(folder / "pace" / "sweep.csv") as file:
            rates = [float(row["mean"]) for row in csv.DictReader(file) if row["output"] == "rate"]
        with open(folder / "pace" / "points.csv") as file:
            paces = [float(row["pace [s]"]) for row in csv.DictReader(file)]
        assert column(book, "All points", "rate [parts/min]") == rates
        for factor, level, mean in zip(*(column(book, "Levels, rate", head) for head in ("Factor", "Level", "Mean [parts/min]"))):
            if factor == "pace [s]":
                own = [rate for rate, pace in zip(rates, paces) if pace == float(level)]
                assert len(own) == 4 and abs(sum(own) / 4 - mean) < 1e-9, (level, mean, own)
        errors = [errors for sheet, _, errors in shown(book) if sheet.title == "Levels, rate"]
        assert errors and all(one is not None for one in errors), "the levels have no error bars"
        print(f"workbooks: {n + more} series of charts show the numbers that are meant")


if __name__ == "__main__":
    main(sys.argv[1])
