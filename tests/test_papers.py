"""Every kind of sheet as a spreadsheet prints it: three of the twelve that `tests/papers.py` goes through.

Each language, both papers and both systems of units are among them. Sizes of paper are those of ISO 216 and
ANSI Y14.1; that a page names its sheet's station and its number is what a page found on the floor must say
(common practice, no source).
"""

from __future__ import annotations

from shutil import which

import papers
import pytest

pytestmark = [
    pytest.mark.libreoffice,
    pytest.mark.skipif(which("soffice") is None, reason="LibreOffice is not installed"),
]


@pytest.mark.parametrize(
    "each", [("en", "A4", "metric"), ("de", "Letter", "us"), ("es", "A4", "us")], ids="-".join
)
def test_every_sheet_is_whole_on_its_pages(each, tmp_path):
    counts, found = papers.amiss(tmp_path, *each)
    assert not found, "\n".join(found)
    kinds = {name.rpartition("/")[2].removesuffix(".xlsx").rpartition("_")[2] for name in counts}
    assert kinds == {"material", "board", "check", "setup", "staging", "line"}


def test_faults_are_seen(tmp_path):
    """A page of another paper, without its number and station, whose words run over the edge."""
    book = papers.sheets(tmp_path, "en", "A4", "metric")[0]
    words = ((500.0, 400.0, 640.0, 410.0, "wide"),)
    found = "\n".join(papers.faults(book, [papers.Page(612.0, 792.0, words)] * 9, "A4"))
    for fault in (
        "not A4",
        "does not say 1/9",
        "does not name",
        "runs over the edge",
        "words alone",
        "9 pages of",
    ):
        assert fault in found
