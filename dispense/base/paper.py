"""The paper that sheets and reports are printed on."""

from __future__ import annotations

from .errors import InputError, Problem

PAPERS = {"A4": "9", "Letter": "1"}  # as a workbook counts paper sizes


def paper_code(paper: str, where: str) -> str:
    """The number of a paper size in a workbook; raises InputError where it is none of ours.

    >>> paper_code("Letter", "fill")
    '1'
    """
    if paper not in PAPERS:
        raise InputError(Problem(where, "paper", paper, f"one of {', '.join(PAPERS)}"))
    return PAPERS[paper]


__all__ = ["PAPERS", "paper_code"]
