"""Small repairs of the registry, each with the call that showed it."""

from __future__ import annotations

from dispense import evaluate


def test_name_in_no_table_fails_in_its_cells_only():
    """A kernel that refuses one text of a range leaves the other rows their results."""
    result = evaluate("CELL_SIZE", ([18650, "no such cell", None, "CR2032"],))
    assert result.table() == [[18.0, 65.0], ["#N/A", "#N/A"], [None, None], [20.0, 3.2]]
    assert len(result.problems) == 1
    assert '"no such cell"' in str(result.problems[0])


def test_name_in_no_table_as_a_scalar():
    assert evaluate("CELL_SIZE", ("no such cell",)).table() == [["#N/A"]]
