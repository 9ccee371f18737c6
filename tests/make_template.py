"""Template workbooks for the tests: what a plant may put into its own, made with XlsxWriter.

Parts that XlsxWriter does not write (custom XML, a slicer, an external link, a calculation chain)
are added by hand to the finished file.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping

import xlsxwriter


def png(size: int = 8) -> bytes:
    """A small grey picture."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    header = struct.pack(">IIBBBBB", size, size, 8, 0, 0, 0, 0)
    rows = b"".join(b"\0" + b"\x80" * size for _ in range(size))
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def rebuild(
    data: bytes,
    add: Mapping[str, bytes] | None = None,
    change: Mapping[str, Callable[[str], str]] | None = None,
) -> bytes:
    """The workbook with parts added and others passed through a function of their text."""
    out = io.BytesIO()
    change = change or {}
    with (
        zipfile.ZipFile(io.BytesIO(data)) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for info in source.infolist():
            content = source.read(info)
            if info.filename in change:
                content = change[info.filename](content.decode()).encode()
            target.writestr(info.filename, content)
        for name, content in (add or {}).items():
            target.writestr(name, content)
    return out.getvalue()


def content_types(*overrides: tuple[str, str], **defaults: str) -> Callable[[str], str]:
    """A change of `[Content_Types].xml` that declares more parts."""
    extra = "".join(f'<Default Extension="{k}" ContentType="{v}"/>' for k, v in defaults.items())
    extra += "".join(f'<Override PartName="/{k}" ContentType="{v}"/>' for k, v in overrides)
    return lambda text: text.replace("</Types>", extra + "</Types>")


def link(identifier: str, kind: str, target: str, mode: str = "") -> Callable[[str], str]:
    """A change of a relationships part that adds one link."""
    base = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"
    kind = kind if kind.startswith("http") else base + kind
    extra = f' TargetMode="{mode}"' if mode else ""
    item = f'<Relationship Id="{identifier}" Type="{kind}" Target="{target}"{extra}/>'
    return lambda text: text.replace("</Relationships>", item + "</Relationships>")


def chain(*steps: Callable[[str], str]) -> Callable[[str], str]:
    """Several changes one after another."""

    def run(text: str) -> str:
        for step in steps:
            text = step(text)
        return text

    return run


SAMPLE = [["sample A", 1.5, 2], ["sample B", 2.5, 4]]


def simple_template(samples: int = 2, totals: bool = True, **options: object) -> bytes:
    """One sheet `Card`: names `day` and `who`, a table `Shots`, lines below it; and `Sums`.

    Rows: 1 names, 3 header, 4.. sample rows, then totals, a blank row, "Below", "Merged".
    """
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, options)
    card, sums = book.add_worksheet("Card"), book.add_worksheet("Sums")
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    blue, grey = (book.add_format({"bg_color": colour}) for colour in ("#DDEEFF", "#EEEEEE"))
    card.write("A1", "Shift")
    card.write_blank("B1", None, day)
    card.merge_range("D1:F1", "name", blue)
    book.define_name("day", "=Card!$B$1")
    book.define_name("who", "=Card!$D$1")
    last = 3 + samples
    columns = [
        {"header": "Part", "total_string": "Total"},
        {"header": "Volume [mL]", "total_function": "sum"},
        {"header": "Count"},
        {"header": "Drawn", "formula": "=Shots[[#This Row],[Count]]*2"},
        {"header": "Running"},
        {"header": "Checked by"},
    ]
    if not totals:
        columns[0].pop("total_string")
        columns[1].pop("total_function")
    card.add_table(f"A3:F{last + totals}", {"name": "Shots", "total_row": totals, "columns": columns})
    for row in range(4, last + 1):
        style = (blue, grey)[row % 2]
        card.set_row(row - 1, 20 + row % 2)
        for column, value in enumerate(SAMPLE[(row - 4) % 2]):
            card.write(row - 1, column, value, style)
        card.write_formula(row - 1, 3, "=Shots[[#This Row],[Count]]*2", grey)
        card.write_formula(row - 1, 4, f"=SUM(B$4:B{row})", style)
        card.write(row - 1, 5, "somebody", style)
    if totals:
        card.write_formula(last, 1, "=SUBTOTAL(109,Shots[Volume '[mL']])")
    below = last + totals + 2
    card.write(below - 1, 0, "Below")
    card.write_formula(below - 1, 1, f"=SUM(B4:B{last})")
    card.merge_range(below, 0, below, 2, "Merged")
    sums.write_formula("A1", f"=SUM(Card!B4:B{last})")
    sums.write_formula("A2", f"=Card!A{below}")
    sums.write_formula("A3", "=Card!B4+A1")
    book.close()
    return out.getvalue()


def full_template() -> bytes:
    """A macro workbook with all that a load and save through openpyxl would lose."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out)
    book.add_vba_project(io.BytesIO(b"not a real project, kept as it is" * 9), True)
    card, charts = book.add_worksheet("Shift card"), book.add_worksheet("Charts")
    hidden = book.add_worksheet("Lists")
    hidden.very_hidden()
    hidden.write_column("A1", ["day", "night"])
    hidden.protect("secret")
    day = book.add_format({"num_format": "d mmm yyyy", "locked": False})
    bold = book.add_format({"bold": True})
    card.write("A1", "Day")
    card.write_blank("B1", None, day)
    book.define_name("day", "='Shift card'!$B$1")
    card.write_rich_string("A2", bold, "rich", " text")
    card.add_table(
        "A4:C7",
        {
            "name": "Shots",
            "total_row": True,
            "columns": [
                {"header": "Part", "total_string": "Total"},
                {"header": "Volume [mL]"},
                {"header": "Time", "format": day},
            ],
            "data": [["a", 1.0, None], ["b", 2.0, None]],
        },
    )
    card.write_formula("B7", "=SUBTOTAL(109,B5:B6)", None, 3)
    card.write_formula("E1", "=SUM(B5:B6)", None, 3)
    card.conditional_format("B5:B6", {"type": "data_bar", "data_bar_2010": True})
    card.conditional_format("A10:B12", {"type": "formula", "criteria": "=$B10>$B$7", "format": bold})
    card.data_validation("A5:A6", {"validate": "list", "source": "=Lists!$A$1:$A$2"})
    card.data_validation("B10", {"validate": "decimal", "criteria": ">", "value": "=B7"})
    card.add_sparkline("D5", {"range": "'Shift card'!B5:B6"})
    card.add_sparkline("D10", {"range": "'Shift card'!B5:B6"})
    card.write_comment("A10", "a note below")
    card.write_comment("A1", "a note above")
    card.write_url("A11", "internal:'Shift card'!A10", string="go to the note")
    card.write_url("A12", "https://example.org/", string="outside")
    card.insert_button("F10", {"caption": "Print", "macro": "PrintCard"})
    card.insert_textbox("F14", "keep me", {"object_position": 2})
    card.insert_checkbox("E2", True)
    card.insert_image("H1", "logo.png", {"image_data": io.BytesIO(png()), "object_position": 3})
    card.set_header("&L&G&R&D", {"image_left": "head.png", "image_data_left": io.BytesIO(png(9))})
    card.print_area("A1:H30")
    card.repeat_rows(3)
    card.set_h_pagebreaks([8, 20])
    card.freeze_panes(4, 1)
    chart = book.add_chart({"type": "column"})
    chart.add_series(
        {
            "name": "='Shift card'!$B$4",
            "categories": "='Shift card'!$A$5:$A$6",
            "values": "='Shift card'!$B$5:$B$6",
        }
    )
    charts.insert_chart("A1", chart)
    book.close()
    return _with_rare_parts(out.getvalue())


def _with_rare_parts(data: bytes) -> bytes:
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    base = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    external = (
        f'<externalLink xmlns="{main}" xmlns:r="http://schemas.openxmlformats.org/officeDocument/'
        '2006/relationships"><externalBook r:id="rId1"><sheetNames><sheetName val="Prices"/>'
        "</sheetNames></externalBook></externalLink>"
    )
    external_rels = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"></Relationships>'
    )
    add = {
        "customXml/item1.xml": b"<plant><line>3</line></plant>",
        "xl/slicers/slicer1.xml": (
            b'<slicers xmlns="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main">'
            b'<slicer name="Part" cache="Slicer_Part" rowHeight="241300"/></slicers>'
        ),
        "xl/externalLinks/externalLink1.xml": external.encode(),
        "xl/externalLinks/_rels/externalLink1.xml.rels": link(
            "rId1", "externalLinkPath", "prices.xlsx", "External"
        )(external_rels).encode(),
        "xl/calcChain.xml": f'<calcChain xmlns="{main}"><c r="B7" i="1"/></calcChain>'.encode(),
    }
    change = {
        "[Content_Types].xml": content_types(
            ("xl/slicers/slicer1.xml", "application/vnd.ms-excel.slicer+xml"),
            ("xl/externalLinks/externalLink1.xml", f"{base}.externalLink+xml"),
            ("xl/calcChain.xml", f"{base}.calcChain+xml"),
        ),
        "_rels/.rels": link("rId90", "customXml", "customXml/item1.xml"),
        "xl/_rels/workbook.xml.rels": chain(
            link("rId90", "externalLink", "externalLinks/externalLink1.xml"),
            link("rId91", "calcChain", "calcChain.xml"),
        ),
        "xl/worksheets/_rels/sheet1.xml.rels": link(
            "rId90", "http://schemas.microsoft.com/office/2007/relationships/slicer", "../slicers/slicer1.xml"
        ),
        "xl/workbook.xml": lambda text: text.replace(
            "<definedNames>",
            '<externalReferences><externalReference r:id="rId90"/></externalReferences><definedNames>',
        ),
    }
    return rebuild(data, add, change)
