"""Files and texts that mean harm: each refused in one line, or written as plain text.

The attacks are public knowledge: nested entities ("billion laughs") and outside entities (OWASP XML
security cheat sheet), zip bombs, path traversal, formula injection and DDE (OWASP CSV injection).
"""

from __future__ import annotations

import io
import re
import resource
import struct
import zipfile

import openpyxl
import pytest
from make_template import rebuild, simple_template

from dispense.base.errors import DispenseError, FileError
from dispense.xlsx.package import Limits, Package
from dispense.xlsx.templates import fill_template

SHEET = "xl/worksheets/sheet1.xml"


def refused(data: bytes, words: str, **options) -> str:
    with pytest.raises(FileError, match=words) as caught:
        Package.open(data, name="plant.xlsx", **options)
    text = str(caught.value)
    assert text.startswith("plant.xlsx")
    assert "\n" not in text
    return text


def zipped(parts: dict[str, bytes], **options) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            info = zipfile.ZipInfo(name)
            info.compress_type = options.get("kind", zipfile.ZIP_DEFLATED)
            archive.writestr(info, data)
    return out.getvalue()


@pytest.fixture(scope="module")
def good() -> bytes:
    return simple_template()


def test_a_zip_bomb_is_not_unpacked(good):
    bomb = rebuild(good, {"xl/media/big.xml": b" " * (40 * 2**20)})
    assert len(bomb) < 2**20
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    text = refused(bomb, "times its size")
    assert "xl/media/big.xml" in text
    # refused by the list of contents alone: the 40 MB were never in memory (ru_maxrss is in kB)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000


def test_a_bomb_that_lies_about_its_size(good):
    """The sizes in the list of contents are set to 100 bytes; the part is longer."""
    name = b"xl/media/big.xml"
    bomb = bytearray(rebuild(good, {name.decode(): b" " * (4 * 2**20)}))
    entry = bomb.rindex(name)  # in the central directory, sizes stand 26 and 22 bytes before
    struct.pack_into("<I", bomb, entry - 46 + 24, 100)
    refused(bytes(bomb), "cut short")


def test_bounds_on_parts(good):
    many = zipped({f"a/{number}.xml": b"<a/>" for number in range(30)})
    refused(many, "parts", limits=Limits(parts=20))
    refused(good, "unpacks to more than 0 MB in all", limits=Limits(total=4000))
    refused(good, "unpacks to more than 0 MB", limits=Limits(part=1000))
    refused(good, "larger than", limits=Limits(file=1000))


@pytest.mark.parametrize(
    "declaration",
    [
        # OWASP: nested entities, an outside entity, a parameter entity, a bare document type
        '<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>',
        '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]>',
        '<!DOCTYPE a [<!ENTITY % b SYSTEM "http://127.0.0.1:9/x.dtd"> %b;]>',
        '<!DOCTYPE worksheet SYSTEM "sheet.dtd">',
    ],
)
@pytest.mark.parametrize("coding", ["utf-8", "utf-16"])
def test_entities_and_document_types(good, declaration, coding):
    with zipfile.ZipFile(io.BytesIO(good)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    text = parts[SHEET].decode()
    head, body = text.split("?>", 1)
    head = head.replace("UTF-8", coding.upper())
    parts[SHEET] = f"{head}?>{declaration}{body}".encode(coding)
    assert SHEET in refused(zipped(parts), "document type or entities")


def test_text_codings_that_hide_markup(good):
    with zipfile.ZipFile(io.BytesIO(good)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    hidden = '<?xml version="1.0" encoding="UTF-7"?>+ADwAIQ-DOCTYPE a+AD4-<a/>'
    refused(zipped(parts | {SHEET: hidden.encode()}), "text coding")
    refused(zipped(parts | {SHEET: "<a/>".encode("utf-32-le")}), "text coding")


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/cron.d/x",
        "xl/../../x.xml",
        "/etc/passwd",
        "C:/x.xml",
        "xl\\worksheets\\x.xml",
        "xl//x.xml",
        "xl/./x.xml",
        "xl/a\nb.xml",
        "xl/" + "x" * 300,
    ],
)
def test_part_names_that_climb_out(good, name):
    refused(rebuild(good, {name: b"<a/>"}), "has a name that no workbook part may have")


@pytest.mark.parametrize("name", [SHEET, SHEET.upper()])
def test_a_part_that_is_there_twice(good, name):
    with pytest.warns(UserWarning) if name == SHEET else io.StringIO():
        double = rebuild(good, {name: b"<a/>"})
    refused(double, "in the file twice")


def test_what_is_not_a_workbook(good):
    refused(b"", "not a workbook")
    refused(b"Part;Volume\n1;2\n", "not a workbook")
    refused(zipped({"a.txt": b"x"}), "zip file but not a workbook")
    refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old .xls")
    locked = "EncryptedPackage".encode("utf-16-le")
    refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + locked, "password")
    refused(rebuild(good, {"xl/workbook.bin": b"x"}), "xlsb")
    refused(rebuild(good, {"x.bin": b"x"})[:-40], "cut short")
    strict = rebuild(
        good,
        change={
            "xl/workbook.xml": lambda text: text.replace(
                "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
                "http://purl.oclc.org/ooxml/spreadsheetml/main",
            )
        },
    )
    refused(strict, "Strict")


def test_every_cut_is_refused_in_one_line(good):
    for length in range(0, len(good), max(1, len(good) // 40)):
        with pytest.raises(FileError) as caught:
            Package.open(good[:length], name="plant.xlsx")
        assert "\n" not in str(caught.value)


def test_flipped_bytes_never_crash(good):
    """Any damage is either harmless or a DispenseError, never another exception."""
    for place in range(0, len(good), 53):
        damaged = bytearray(good)
        damaged[place] ^= 0xFF
        try:
            fill_template(bytes(damaged), {"day": 1}, {"Shots": [{"Part": "a"}] * 3})
        except DispenseError as error:
            assert str(error)


def test_encrypted_parts(good):
    data = bytearray(zipped({"[Content_Types].xml": b"<a/>"}))
    central = data.rindex(b"PK\x01\x02")
    data[central + 8] |= 1  # general purpose bit 0: encrypted (ZIP appnote 4.4.4)
    refused(bytes(data), "encrypted")


def test_an_unusual_packing(good):
    refused(zipped({"[Content_Types].xml": b"<a/>"}, kind=zipfile.ZIP_BZIP2), "packed in a way")


def test_a_giant_sheet_takes_no_room(good):
    giant = rebuild(
        good,
        change={
            SHEET: lambda text: text.replace(
                '<dimension ref="A1:F9"/>', '<dimension ref="A1:XFD1048576"/>'
            ).replace("</sheetData>", '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>')
        },
    )
    assert b"XFD1048576" in Package.open(giant).read(SHEET)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    package = fill_template(giant, {}, {"Shots": [{"Part": "a"}] * 2}).package
    assert package.cell_values("Card")["XFD1048576"] == 1
    # ru_maxrss is in kB; a full sheet of 2**34 cells would need gigabytes
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000
    with pytest.raises(DispenseError, match="too many rows"):
        fill_template(giant, {}, {"Shots": [{"Part": "a"}] * 3})


def test_rows_past_the_end(good):
    beyond = rebuild(
        good,
        change={
            SHEET: lambda text: text.replace(
                "</sheetData>", '<row r="1048577"><c r="A1048577"/></row></sheetData>'
            )
        },
    )
    with pytest.raises(DispenseError):
        fill_template(beyond, {"day": 1}, {"Shots": [{"Part": "a"}] * 3})


INJECTED = [
    "=cmd|' /C calc'!A0",
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    '=HYPERLINK("http://127.0.0.1/"&A1)',
    "  =1+1",
    "<f>1+1</f>",
    "]]><f>1</f>",
    "'=1+1",
    "&lt;f&gt;",
    "_x003D_1+1",
]


@pytest.mark.parametrize("text", INJECTED)
def test_text_is_never_a_formula(good, text):
    filled = fill_template(good, {"who": text}, {"Shots": [{"Part": text}] * 4})
    book = openpyxl.load_workbook(io.BytesIO(filled.package.to_bytes()))
    plain = text.replace("\r", "\n")  # what looks like an escape is read as it was typed
    for address in ("D1", "A4", "A6", "A7"):
        cell = book["Card"][address]
        assert (cell.data_type, cell.value) == ("s", plain), address
    sheet = filled.package.read(SHEET).decode()
    assert sheet.count("<f>") == sheet.count("</f>")
    assert filled.package.cell_values("Card")["A6"] == text.replace("\r", "\n")


def test_control_characters_and_halves_of_pairs(good):
    text = "a\0b\x07c\x1f\ud800d\ufffe\U0001f9eae"
    filled = fill_template(good, {"who": text})
    stored = openpyxl.load_workbook(io.BytesIO(filled.package.to_bytes()))["Card"]["D1"].value
    # XML 1.0 (W3C), section 2.2, allows none of these; the test tube beyond 0xFFFF it does
    assert stored == "a\ufffdb\ufffdc\ufffd\ufffdd\ufffd\U0001f9eae"


def test_spaces_at_the_ends_stay(good):
    filled = fill_template(good, {"who": "  two  "}, {"Shots": [{"Part": "a\n b "}]})
    book = openpyxl.load_workbook(io.BytesIO(filled.package.to_bytes()))
    assert book["Card"]["D1"].value == "  two  "
    assert book["Card"]["A4"].value == "a\n b "


def test_numbers_no_cell_can_hold(good):
    rows = [{"Part": "a", "Volume": float("nan"), "Count": float("inf")}, {"Part": "x" * 40_000}]
    with pytest.raises(DispenseError) as caught:
        fill_template(good, {"day": object()}, {"Shots": rows})
    text = str(caught.value)
    # every fault is told at once, each on its own line
    assert len(caught.value.problems) == 4
    assert "row 1, Volume [mL]" in text
    assert "row 1, Count" in text
    assert "row 2, Part" in text
    assert "name day" in text


def test_names_that_lead_outside_or_in_circles(good):
    for text in ("[1]Card!$B$1", "day", "#REF!", "'C:\\[x.xlsx]Card'!$B$1", "OFFSET(Card!A1,1,1)"):
        bad = rebuild(good, change={"xl/workbook.xml": lambda xml, text=text: xml.replace("Card!$B$1", text)})
        with pytest.raises(DispenseError, match="name day"):
            fill_template(bad, {"day": 1})


def test_a_link_to_a_part_that_is_missing(good):
    broken = rebuild(
        good, change={"xl/_rels/workbook.xml.rels": lambda text: text.replace("sheet1.xml", "sheet9.xml")}
    )
    with pytest.raises(FileError, match="no part for sheet Card"):
        fill_template(broken, {"day": 1})


def test_damaged_xml_is_refused_or_harmless(good):
    """Numbers, addresses and names replaced by nonsense in well-formed XML."""
    with zipfile.ZipFile(io.BytesIO(good)) as archive:
        texts = {name: archive.read(name).decode() for name in archive.namelist()}
    for part in (SHEET, "xl/workbook.xml", "xl/tables/table1.xml", "xl/styles.xml"):
        for attribute in set(re.findall(r' \w+="[^"]*"', texts[part])):
            name = attribute.partition("=")[0]
            for nonsense in ("", "x", "-1", "99999999999999999999", "A0", "A1:ZZZZ9"):
                damaged = texts[part].replace(attribute, f'{name}="{nonsense}"', 1)
                data = zipped({k: v.encode() for k, v in (texts | {part: damaged}).items()})
                try:
                    fill_template(data, {"day": 1, "who": "x"}, {"Shots": [{"Part": "a"}] * 3})
                except DispenseError as error:
                    assert str(error)


def test_xml_nested_without_end(good):
    """The parser's own bound on depth holds; nothing recurses."""
    deep = "<x>" * 100_000 + "</x>" * 100_000
    data = rebuild(good, change={SHEET: lambda text: text.replace("<sheetData>", deep, 1)})
    with pytest.raises(FileError, match="not well-formed") as caught:
        fill_template(data, {"day": 1})
    assert SHEET in str(caught.value)
    assert "\n" not in str(caught.value)
