"""Calc's numbers of the errors that also other spreadsheets know.

Read by the package, by LibreOffice's own Python and from within the extension: it imports nothing.
"""

ERROR_NUMBERS = {
    "#NULL!": 521,
    "#DIV/0!": 532,
    "#VALUE!": 519,
    "#REF!": 524,
    "#NAME?": 525,
    "#NUM!": 503,
    "#N/A": 32767,
}
ERROR_TEXTS = {number: text for text, number in ERROR_NUMBERS.items()}
