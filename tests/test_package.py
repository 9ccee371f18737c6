"""Packages opened, edited and saved; files written in one step.

What a package must say is taken from openpyxl reading the same file, from the ZIP and Open XML
standards (ISO/IEC 29500-2), or from how the file was made.
"""

from __future__ import annotations

import errno
import io
import os
import stat
import sys
import zipfile

import openpyxl
import pytest
from make_template import full_template, rebuild, simple_template

from dispense.base.errors import FileError
from dispense.jobs.fill import template_folder
from dispense.xlsx import write
from dispense.xlsx.package import (
    MAIN,
    Package,
    column_letters,
    column_number,
    compare,
    iter_cells,
    split_cell,
    split_range,
)
from dispense.xlsx.write import atomic_write, atomic_write_all


def test_columns_agree_with_openpyxl():
    # openpyxl.utils is the reference for the spelling of columns
    for number in (1, 26, 27, 52, 702, 703, 16384):
        letters = openpyxl.utils.get_column_letter(number)
        assert column_letters(number) == letters
        assert column_number(letters) == number
    assert split_cell("$XFD$1048576") == (1048576, 16384)
    assert split_range("D7:B2") == (2, 2, 7, 4)
    for bad in ("A0", "A1048577", "XFE1", "1A", "A", "A1B"):
        with pytest.raises(ValueError):
            split_cell(bad)


@pytest.mark.parametrize("make", [simple_template, full_template])
def test_reading_agrees_with_openpyxl(make):
    data = make()
    package = Package.open(data)
    book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    assert [sheet.name for sheet in package.sheets] == book.sheetnames
    assert [sheet.state for sheet in package.sheets] == [s.sheet_state for s in book.worksheets]
    assert {n.name for n in package.defined_names if n.scope is None} == set(book.defined_names)
    for sheet in book.worksheets:
        tables = {table.name: table for table in package.tables if table.sheet.name == sheet.title}
        assert set(tables) == set(sheet.tables)
        for name, table in ((table.name, table) for table in sheet.tables.values()):
            box = split_range(table.ref)
            mine = tables[name]
            assert box == (mine.first_row, mine.first_column, mine.last_row, mine.last_column)
            assert mine.columns == tuple(table.column_names)
            assert mine.totals_rows == (table.totalsRowCount or 0)
        values = {
            cell.coordinate: cell.value for row in sheet.iter_rows() for cell in row if cell.value is not None
        }
        assert package.cell_values(sheet.title) == values


def test_untouched_parts_keep_their_bytes_and_order():
    data = full_template()
    package = Package.open(data)
    saved = package.to_bytes()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(io.BytesIO(saved)) as new:
        assert new.namelist() == old.namelist()
        assert new.testzip() is None
        for name in old.namelist():
            assert new.read(name) == old.read(name), name
        # ISO/IEC 29500-2 builds on ZIP, whose time starts in 1980
        assert {info.date_time for info in new.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert compare(package, Package.open(saved)) == []


def test_an_edit_changes_one_part_and_no_other_package():
    package = Package.open(simple_template())
    twin = package.copy()
    sheet = twin.sheets[0]
    cell = next(twin.edit(sheet.part).iter(f"{{{MAIN}}}c"))
    cell.set("s", "1")
    assert twin.changed == (sheet.part,)
    assert package.changed == ()
    assert [d.part for d in compare(package, twin)] == [sheet.part]
    assert "A1 style" in str(compare(package, twin)[0])
    twin.revert(sheet.part)
    assert compare(package, twin) == []


def test_a_removed_part_leaves_no_trace():
    package = Package.open(full_template())
    package.remove("xl/calcChain.xml")
    again = Package.open(package.to_bytes())
    assert "xl/calcChain.xml" not in again
    for part in again.parts:
        assert b"calcChain" not in again.read(part)
    openpyxl.load_workbook(io.BytesIO(package.to_bytes()))


def test_relationships_drawings_and_charts():
    package = Package.open(full_template())
    card, charts, _ = package.sheets
    assert package.charts(charts) == ["xl/charts/chart1.xml"]
    assert package.charts(card) == []
    assert package.drawings(card) == ["xl/drawings/drawing1.xml"]
    outside = [link for link in package.relationships(card.part).values() if link.external]
    assert [link.target for link in outside] == ["https://example.org/"]
    assert package.suffix == ".xlsm"


def test_dates_from_1904_are_seen():
    assert Package.open(simple_template(date_1904=True)).date1904
    assert not Package.open(simple_template()).date1904


def test_compare_names_what_changed():
    data = simple_template()
    other = rebuild(
        data,
        {"customXml/item1.xml": b"<a/>"},
        {
            "xl/worksheets/sheet2.xml": lambda text: text.replace("Card!B4+A1", "Card!B4+A2"),
            "xl/workbook.xml": lambda text: text.replace("$B$1", "$B$2"),
        },
    )
    told = [str(item) for item in compare(Package.open(data), Package.open(other))]
    assert any("sheet2.xml: A3 formula '=Card!B4+A1' -> '=Card!B4+A2'" in line for line in told)
    assert any(line.startswith("xl/workbook.xml") and "$B$2" in line for line in told)
    assert "customXml/item1.xml: added" in told
    assert len(told) == 3


def test_the_name_must_suit_the_kind(tmp_path):
    package = Package.open(full_template())
    with pytest.raises(FileError, match=r"\.xlsm"):
        package.save(tmp_path / "card.xlsx")
    assert list(tmp_path.iterdir()) == []
    package.save(tmp_path / "card.xlsm")
    assert Package.open(tmp_path / "card.xlsm").suffix == ".xlsm"


# ---------------------------------------------------------------------------------- writing


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_write_replaces_the_file_whole(tmp_path):
    target = tmp_path / "out.bin"
    target.write_bytes(b"old" * 1000)
    assert atomic_write(target, b"new") == target
    assert target.read_bytes() == b"new"
    atomic_write(target, lambda stream: stream.write(b"newer"))
    assert target.read_bytes() == b"newer"
    assert names(tmp_path) == ["out.bin"]


def test_a_failed_write_leaves_the_old_file(tmp_path):
    target = tmp_path / "out.bin"
    target.write_bytes(b"old")

    def fail(stream):
        stream.write(b"half")
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(FileError, match="disk is full"):
        atomic_write(target, fail)
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["out.bin"]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full on this system")
def test_a_full_disk_is_said_in_one_line(tmp_path, monkeypatch):
    # /dev/full answers every write with ENOSPC, as a full disk does
    def on_full_disk(**_):
        return os.open("/dev/full", os.O_WRONLY), str(tmp_path / "temporary")

    monkeypatch.setattr(write.tempfile, "mkstemp", on_full_disk)
    with pytest.raises(FileError) as caught:
        atomic_write(tmp_path / "out.bin", b"x" * 100)
    assert "disk is full" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert names(tmp_path) == []


def test_an_input_is_never_written_over(tmp_path):
    source = tmp_path / "template.xlsx"
    source.write_bytes(b"mine")
    (tmp_path / "link.xlsx").symlink_to(source)
    os.link(source, tmp_path / "twin.xlsx")
    (tmp_path / "sub").mkdir()
    for name in ("template.xlsx", "link.xlsx", "twin.xlsx", "sub/../template.xlsx"):
        with pytest.raises(FileError, match="never written over"):
            atomic_write(tmp_path / name, b"x", forbid=[source])
    assert source.read_bytes() == b"mine"


def test_a_link_is_written_through(tmp_path):
    real = tmp_path / "real.bin"
    real.write_bytes(b"old")
    (tmp_path / "link.bin").symlink_to(real)
    atomic_write(tmp_path / "link.bin", b"new")
    assert real.read_bytes() == b"new"
    assert (tmp_path / "link.bin").is_symlink()


def test_folders_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "folder").mkdir()
    for name, words in {
        "missing/out.bin": "folder does not exist",
        "file/out.bin": "is a file",
        "folder": "a folder has this name",
        "x" * 300: "name is too long",
    }.items():
        with pytest.raises(FileError, match=words) as caught:
            atomic_write(tmp_path / name, b"x")
        assert "\n" not in str(caught.value)
    with pytest.raises(FileError):
        atomic_write(tmp_path / "nul\0byte", b"x")
    assert names(tmp_path) == ["file", "folder"]


@pytest.mark.parametrize("call", ["replace", "mkstemp"])
def test_a_locked_file_or_folder(tmp_path, monkeypatch, call):
    # Windows answers a replace of a file open in a spreadsheet with PermissionError (EACCES)
    def locked(*_, **__):
        raise PermissionError(errno.EACCES, "Access is denied")

    target = tmp_path / "out.bin"
    target.write_bytes(b"old")
    monkeypatch.setattr(write.os if call == "replace" else write.tempfile, call, locked)
    with pytest.raises(FileError, match="close the file if it is open"):
        atomic_write(target, b"new")
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["out.bin"]


@pytest.mark.skipif(
    sys.platform == "win32" or getattr(os, "geteuid", lambda: 1)() == 0,
    reason="permissions do not bind this user",
)
def test_a_read_only_folder(tmp_path):
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(0o500)
    with pytest.raises(FileError, match="not allowed"):
        atomic_write(folder / "out.bin", b"x")


@pytest.mark.skipif(sys.platform == "win32", reason="modes are of POSIX systems")
def test_permissions_are_kept(tmp_path):
    target = tmp_path / "out.bin"
    target.write_bytes(b"old")
    target.chmod(0o640)
    atomic_write(target, b"new")
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    plain = tmp_path / "plain.bin"
    plain.write_bytes(b"")
    fresh = atomic_write(tmp_path / "fresh.bin", b"new")
    assert stat.S_IMODE(fresh.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


def test_several_files_or_none(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    done = atomic_write_all({tmp_path / "a": b"1", tmp_path / "b": b"2"})
    assert [path.read_bytes() for path in done] == [b"1", b"2"]
    with pytest.raises(FileError, match="folder does not exist"):
        atomic_write_all({tmp_path / "a": b"3", tmp_path / "missing" / "b": b"4"})
    assert (tmp_path / "a").read_bytes() == b"1"
    assert names(tmp_path) == ["a", "b"]


@pytest.mark.parametrize("path", sorted(template_folder().glob("*.xlsx")), ids=lambda path: path.stem)
def test_every_inline_string_carries_its_text(path):
    # ECMA-376 part 1, 18.3.1.4: a cell of the type inlineStr holds its text in <is>
    package = Package.open(path)
    for sheet in package.worksheets:
        for _, _, place, cell in iter_cells(package.tree(sheet.part)):
            is_text = cell.get("t") == "inlineStr"
            assert is_text == (cell.find(f"{{{MAIN}}}is") is not None), f"{sheet.name}!{place}"


def test_a_part_read_once_is_not_kept_and_an_edit_needs_no_second_tree():
    """Memory: of a workbook without copies a sheet stands once, as read or as edited."""
    package = Package.open(full_template())
    part = package.worksheets[0].part
    assert package.read_once(part) is not package.read_once(part)
    read = package.tree(part)
    assert package.edit(part) is read is package.read_once(part)


def test_an_edit_of_a_copy_leaves_the_others():
    package = Package.open(full_template())
    part = package.worksheets[0].part
    before, twin = package.read(part), package.copy()
    assert twin.read_once(part) is package.tree(part)
    for one, other in ((package, twin), (twin, package)):
        one.edit(part).set("edited", "yes")
        assert other.read_once(part).get("edited") is None
        one.revert(part)
    assert package.read(part) == twin.read(part) == before
