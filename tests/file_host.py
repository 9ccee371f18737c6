"""A plan "open" in no program: its cells as a file has them, edits on top of them that are not saved."""

from __future__ import annotations

from pathlib import Path

from openpyxl import load_workbook
from openpyxl.utils.cell import coordinate_to_tuple

from dispense.jobs.document import Grid


class FileHost:
    """What `jobs.document.Host` asks, over a file; `edit` is what a user types and does not save."""

    def __init__(self, path: Path, answers: dict | None = None, stop_at: int | None = None, speaks="en"):
        self.path = Path(path)
        self.speaks = speaks
        self.answers = answers
        self.stop_at = stop_at
        self.released = []
        self.formula_cells, self.rewritten = [], {}
        self.marks, self.panes, self.opened, self.asked = [], [], [], []
        book = load_workbook(path, data_only=True)
        self.sheets = {
            sheet.title: [list(row) for row in sheet.iter_rows(values_only=True)] for sheet in book
        }
        self.tables = {
            sheet.title: {table.displayName: table.ref for table in sheet.tables.values()} for sheet in book
        }

    def edit(self, cell, value):
        sheet, _, address = cell.partition("!")
        row, column = coordinate_to_tuple(address)
        rows = self.sheets[sheet]
        while len(rows) < row:
            rows.append([])
        rows[row - 1] += [None] * (column - len(rows[row - 1]))
        rows[row - 1][column - 1] = value

    def value(self, cell):
        sheet, _, address = cell.partition("!")
        row, column = coordinate_to_tuple(address)
        return self.sheets[sheet][row - 1][column - 1]

    def place(self):
        return self.path

    def language(self):
        return self.speaks

    def read(self):
        return [
            Grid(name, [list(row) for row in rows], self.tables[name]) for name, rows in self.sheets.items()
        ]

    def formulas(self):
        return self.formula_cells

    def rewrite(self, formulas):
        self.rewritten = dict(formulas)
        return list(formulas)

    def mark(self, marks):
        self.marks = list(marks)

    def show(self, pane):
        self.panes.append(pane)

    @property
    def pane(self):
        return self.panes[-1]

    def ask(self, title, questions):
        self.asked.append((title, list(questions)))
        if self.answers is None:
            return None
        return {item.key: self.answers.get(item.key, item.default) for item in questions}

    def release(self, path):
        self.released.append(path)

    def open(self, path):
        self.opened.append(path)

    def progress(self, done, total):
        return self.stop_at is None or done < self.stop_at

    def write(self, values):
        for cell, value in values.items():
            self.edit(cell, value)
