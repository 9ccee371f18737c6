"""An .xlsx or .xlsm file as its parts, opened within bounds and saved without harm.

A workbook file is a zip of XML parts. `Package` keeps each part as the bytes it came with, parses
a part only when it is asked for, and writes anew only the parts that were edited. What a program
put into the file and this project has never heard of therefore survives byte for byte.
"""

from __future__ import annotations

import codecs
import contextlib
import copy
import functools
import io
import os
import posixpath
import re
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from lxml import etree

from dispense.base.errors import FileError, Problem
from dispense.xlsx import shared
from dispense.xlsx.write import atomic_write

__all__ = [
    "MAX_COLUMN",
    "MAX_ROW",
    "DefinedName",
    "Difference",
    "Limits",
    "Package",
    "Relationship",
    "Sheet",
    "Table",
    "column_letters",
    "column_number",
    "compare",
    "read_file",
    "sound_xml",
    "split_cell",
    "unescape",
]

MAX_ROW = 1_048_576
MAX_COLUMN = 16_384

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
CONTENT_TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"
STRICT = "http://purl.oclc.org/ooxml/spreadsheetml/main"

_MAIN_TYPES = {
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml": ".xlsx",
    "application/vnd.ms-excel.sheet.macroEnabled.main+xml": ".xlsm",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.template.main+xml": ".xltx",
    "application/vnd.ms-excel.template.macroEnabled.main+xml": ".xltm",
}
_TYPE_OF_SUFFIX = {suffix: kind for kind, suffix in _MAIN_TYPES.items()}
_EPOCH = (1980, 1, 1, 0, 0, 0)
_LEVEL = 6
_LARGE = 1 << 18  # bytes of a part above which what is packed of it is not kept
_REMEMBERED: dict[str, tuple[str, ...]] = {  # by root: what is remembered of such a part, of others all
    f"{{{MAIN}}}worksheet": ("cells", "rows", "label"),
    f"{{{MAIN}}}workbook": ("sheets", "names", "names folded", "tables", "label", "picture places"),
    f"{{{MAIN}}}table": ("tables", "label"),
    f"{{{MAIN}}}styleSheet": ("type sizes", "wrapped"),
    "{http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing}wsDr": (),
    "{http://schemas.openxmlformats.org/drawingml/2006/chart}chartSpace": (),
}
_OLE_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_EBCDIC = "<?xm".encode("cp037")
_DECLARATION = re.compile(rb"\A(?:\xef\xbb\xbf)?<\?xml[^>]*\?>[\r\n]*")
_ENCODING = re.compile(rb"\A(?:\xef\xbb\xbf)?<\?xml[^>]*encoding\s*=\s*[\"']([^\"']+)[\"']")
_DEFAULT_DECLARATION = b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_XML_SUFFIXES = (".xml", ".rels", ".vml")


@dataclass(frozen=True, slots=True)
class Limits:
    """The most a workbook file may hold; past it the file is refused, not read."""

    file: int = 64 * 2**20  # bytes of the file itself
    total: int = 256 * 2**20  # bytes of all parts, unpacked
    part: int = 48 * 2**20  # bytes of one part, unpacked
    parts: int = 4000
    ratio: int = 250  # unpacked to packed, for a part above 1 MB
    name: int = 240  # characters of a part's name


@dataclass(frozen=True, slots=True)
class Relationship:
    """A link from one part to another, or to the world outside."""

    id: str
    type: str  # the last word of the type's address, as in "drawing"
    target: str  # a part name, or the address where `external`
    external: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of the workbook; `state` is visible, hidden or veryHidden."""

    name: str
    part: str
    index: int
    state: str
    kind: str  # worksheet, chartsheet, dialogsheet


@dataclass(frozen=True, slots=True)
class Table:
    """An Excel table: its name, sheet, range of rows and columns, and headers."""

    name: str
    part: str
    sheet: Sheet
    first_row: int  # of the whole table, header included
    first_column: int
    last_row: int  # totals included
    last_column: int
    header_rows: int
    totals_rows: int
    columns: tuple[str, ...]

    @property
    def first_data_row(self) -> int:
        """The first row below the header."""
        return self.first_row + self.header_rows

    @property
    def last_data_row(self) -> int:
        """The last row above the totals."""
        return self.last_row - self.totals_rows


_NAMED_CELL = re.compile(
    r"=?(?:'((?:[^']|'')+)'|([^'!\[\]:,()]+))!"
    r"(\$?[A-Za-z]{1,3}\$?[0-9]{1,7}(?::\$?[A-Za-z]{1,3}\$?[0-9]{1,7})?)\Z"
)


@dataclass(frozen=True, slots=True)
class DefinedName:
    """A defined name; `scope` is the sheet it belongs to, or None for the workbook."""

    name: str
    scope: str | None
    text: str

    @property
    def place(self) -> tuple[str, str] | None:
        """Sheet and cell, or cells, that it refers to: ("Material", "A2"); None for anything else."""
        return _named_place(self.text)


@functools.lru_cache(maxsize=1 << 14)
def _named_place(text: str) -> tuple[str, str] | None:
    found = _NAMED_CELL.match(text)
    if found is None:
        return None
    title = found[1].replace("''", "'") if found[1] else found[2]
    return title, found[3].replace("$", "")


# ---------------------------------------------------------------------------------------- cells


@functools.cache
def column_letters(number: int) -> str:
    """`1` to `A`, `27` to `AA`."""
    if not 1 <= number <= MAX_COLUMN:
        raise ValueError(f"column {number} is outside 1 to {MAX_COLUMN}")
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


@functools.cache
def column_number(letters: str) -> int:
    """`A` to 1, `XFD` to 16384."""
    number = 0
    for letter in letters.upper():
        if not "A" <= letter <= "Z":
            raise ValueError(f"{letters!r} is not a column")
        number = number * 26 + ord(letter) - 64
    if not 1 <= number <= MAX_COLUMN:
        raise ValueError(f"{letters!r} is not a column")
    return number


_CELL = re.compile(r"\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6})\Z")


@functools.lru_cache(maxsize=1 << 16)
def split_cell(address: str) -> tuple[int, int]:
    """`$B$7` to row 7, column 2."""
    found = _CELL.match(address)
    if not found:
        raise ValueError(f"{address!r} is not a cell")
    row = int(found[2])
    if row > MAX_ROW:
        raise ValueError(f"{address!r} is below the last row of a sheet")
    return row, column_number(found[1].upper())


def split_range(address: str) -> tuple[int, int, int, int]:
    """`B2:D7` to first row, first column, last row, last column."""
    first, _, last = address.partition(":")
    top, left = split_cell(first)
    bottom, right = split_cell(last) if last else (top, left)
    return min(top, bottom), min(left, right), max(top, bottom), max(left, right)


# -------------------------------------------------------------------------------------- reading


def _parser() -> etree.XMLParser:
    return etree.XMLParser(
        resolve_entities=False,
        load_dtd=False,
        no_network=True,
        huge_tree=False,
        strip_cdata=False,
        remove_blank_text=False,
    )


def _is_xml(name: str) -> bool:
    return name.lower().endswith(_XML_SUFFIXES)


def read_file(source: str | os.PathLike[str], limits: Limits | None = None) -> bytes:
    """The bytes of a plain file within the limits; a pipe or device is refused, not waited for."""
    name = os.fspath(source)
    most = (limits or Limits()).file
    try:
        mode = os.stat(source).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError
        if not stat.S_ISREG(mode):
            raise FileError(
                Problem(name, message="is a pipe or device, not a file", fix="save it as a file first")
            )
        with open(source, "rb") as stream:
            return stream.read(most + 1)
    except FileNotFoundError:
        raise FileError(Problem(name, message="does not exist")) from None
    except IsADirectoryError:
        raise FileError(Problem(name, message="is a folder, not a workbook")) from None
    except PermissionError:
        raise FileError(Problem(name, message="cannot be read", fix="it may be open elsewhere")) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileError(Problem(name, message=f"cannot be read: {reason}")) from error


class _Reader:
    """Unpacks a workbook file within the limits, or says in one line why not."""

    def __init__(self, name: str, limits: Limits):
        self.name = name
        self.limits = limits

    def refuse(self, message: str, part: str = "", fix: str = "") -> FileError:
        where = f"{self.name}, part {part}" if part else self.name
        return FileError(Problem(where, message=message, fix=fix))

    def unpack(self, data: bytes) -> dict[str, bytes]:
        limits = self.limits
        if len(data) > limits.file:
            raise self.refuse(f"is larger than {limits.file // 2**20} MB")
        if data.startswith(_OLE_MAGIC):
            if "EncryptedPackage".encode("utf-16-le") in data:
                raise self.refuse("is protected by a password", fix="save it without a password")
            raise self.refuse("is an old .xls workbook", fix="save it as .xlsx")
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                infos = [info for info in archive.infolist() if not info.is_dir()]
                self.check_list(infos)
                parts = {info.orig_filename: self.read(archive, info) for info in infos}
        except FileError:
            raise
        except (zipfile.BadZipFile, EOFError, zlib.error, NotImplementedError) as error:
            raise self.refuse(
                f"is not a workbook or is cut short: {error}", fix="save it again as .xlsx"
            ) from error
        except (OSError, ValueError, RuntimeError, OverflowError) as error:
            raise self.refuse(f"cannot be unpacked: {error}") from error
        self.check_kind(parts)
        return parts

    def check_list(self, infos: list[zipfile.ZipInfo]) -> None:
        limits = self.limits
        if len(infos) > limits.parts:
            raise self.refuse(f"has {len(infos)} parts; at most {limits.parts} are read")
        seen: set[str] = set()
        total = 0
        for info in infos:
            name = info.orig_filename
            self.check_name(name)
            if name.lower() in seen:
                raise self.refuse("is in the file twice", name[:80])
            seen.add(name.lower())
            if info.flag_bits & 1:
                raise self.refuse("is encrypted", name, "save the workbook without a password")
            if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise self.refuse("is packed in a way workbooks do not use", name)
            size = info.file_size
            if size > limits.part:
                raise self.refuse(f"unpacks to more than {limits.part // 2**20} MB", name)
            if size > 2**20 and size > limits.ratio * max(info.compress_size, 1):
                raise self.refuse(f"unpacks to more than {limits.ratio} times its size", name)
            total += size
            if total > limits.total:
                raise self.refuse(f"unpacks to more than {limits.total // 2**20} MB in all")

    def check_name(self, name: str) -> None:
        pieces = name.split("/")
        bad = (
            len(name) > self.limits.name
            or name.startswith("/")
            or "\\" in name
            or any(ord(letter) < 32 for letter in name)
            or any(piece in ("", ".", "..") for piece in pieces)
            or ":" in pieces[0]
        )
        if bad:
            raise self.refuse("has a name that no workbook part may have", repr(name[:80]))

    def read(self, archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
        name = info.orig_filename
        with archive.open(info) as stream:
            data = stream.read(self.limits.part + 1)
        if len(data) != info.file_size:
            raise self.refuse("is cut short or longer than the file says", name)
        if _is_xml(name):
            self.check_markup(name, data)
        return data

    def check_markup(self, name: str, data: bytes) -> None:
        if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE, _EBCDIC)):
            raise self.refuse("is in a text coding that workbooks do not use", name)
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            plain = data.decode("utf-16", "replace").encode("utf-8")
        elif b"\0" in data[:4]:
            raise self.refuse("is in a text coding that workbooks do not use", name)
        else:
            plain = data
            found = _ENCODING.match(data)
            known = (b"utf-8", b"us-ascii", b"ascii", b"iso-8859-1", b"windows-1252")
            if found and found[1].lower() not in known:
                raise self.refuse("is in a text coding that workbooks do not use", name)
        if b"<!DOCTYPE" in plain or b"<!ENTITY" in plain:
            raise self.refuse("declares a document type or entities, which is refused", name)

    def check_kind(self, parts: dict[str, bytes]) -> None:
        names = {name.lower() for name in parts}
        if "[content_types].xml" not in names:
            raise self.refuse("is a zip file but not a workbook", fix="save it as .xlsx")
        if "xl/workbook.bin" in names:
            raise self.refuse("is an .xlsb workbook", fix="save it as .xlsx or .xlsm")


# -------------------------------------------------------------------------------------- package


def _of(key: Any) -> str:
    """What is remembered under a key."""
    return key if isinstance(key, str) else key[0]


def _deflated(data: bytes) -> tuple[int, bytes]:
    """The check sum of a part and what is stored of it in a zip file."""
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    return zlib.crc32(data), packer.compress(data) + packer.flush()


#: the same of what many files of one run have alike
_deflated_once = functools.lru_cache(maxsize=256)(_deflated)


class Package:
    """The parts of one workbook file.

    `tree(part)` gives a part parsed, for reading only; `edit(part)` gives it to be changed and written.
    `copy()` shares what was parsed, so that one template can be filled many times: of that a copy is edited.
    """

    def __init__(self, parts: dict[str, bytes], name: str = "workbook"):
        self.name = name
        self._bytes = parts
        self._shared: dict[str, etree._ElementTree] = {}
        self._edited: dict[str, etree._ElementTree] = {}
        self._has_copies = False  # what was parsed is another package's too
        self._dirty: set[str] = set()  # added or replaced as bytes
        self._lower = {part.lower(): part for part in parts}
        self._memo: dict[Any, Any] = {}  # what was found in parts as they are here
        self._common: dict[Any, Any] = {}  # in parts as they are in all copies
        self._apart: frozenset[str] | None = frozenset()  # what is no longer common; None: nothing is
        self._strings: list[str] | None = None  # shared by cells: those of the file, then those added
        self._strings_part = ""  # where they are, once they were asked for
        self._added: dict[str, int] = {}  # the place of each that was added

    @classmethod
    def open(
        cls, source: str | os.PathLike[str] | bytes, limits: Limits | None = None, name: str = ""
    ) -> Package:
        """Read a workbook from a path or from bytes, within `limits`."""
        limits = limits or Limits()
        if isinstance(source, bytes | bytearray | memoryview):
            data, label = bytes(source), name or "workbook"
        else:
            data, label = read_file(source, limits), name or os.fspath(source)
        package = cls(_Reader(label, limits).unpack(data), label)
        package._check_workbook()
        return package

    def _check_workbook(self) -> None:
        root = self.tree(self.workbook_part)
        if root.tag == f"{{{STRICT}}}workbook":
            raise FileError(
                Problem(
                    self.name,
                    message="is a Strict Open XML workbook",
                    fix="save it as an ordinary .xlsx workbook",
                )
            )
        if root.tag != f"{{{MAIN}}}workbook":
            raise self._error("is not a workbook", self.workbook_part)

    def _error(self, message: str, part: str, fix: str = "") -> FileError:
        return FileError(Problem(f"{self.name}, part {part}", message=message, fix=fix))

    # parts

    @property
    def parts(self) -> tuple[str, ...]:
        """The names of all parts, in the order of the file."""
        return tuple(self._bytes)

    @property
    def changed(self) -> tuple[str, ...]:
        """The parts that will be written anew."""
        return tuple(part for part in self._bytes if self.is_edited(part))

    def is_edited(self, part: str) -> bool:
        """Whether a part will be written anew."""
        is_added_to = bool(self._added) and part == self._strings_part
        return part in self._edited or part in self._dirty or is_added_to

    def __contains__(self, part: object) -> bool:
        return part in self._bytes

    def find(self, part: str) -> str | None:
        """The part's name as the file spells it, or None."""
        return part if part in self._bytes else self._lower.get(part.lower())

    def read(self, part: str) -> bytes:
        """The bytes of a part as they would be saved."""
        if self._added and part == self._strings_part:
            sheets = [self.read(sheet.part) for sheet in self.worksheets]
            return self._with_added(sum(map(shared.references, sheets)))
        return self._written(part)

    def _written(self, part: str) -> bytes:
        tree = self._edited.get(part)
        if tree is None:
            return self._bytes[part]
        found = _DECLARATION.match(self._bytes[part])
        head = found[0] if found else _DEFAULT_DECLARATION
        coding = _ENCODING.match(head)
        if coding is None or coding[1].lower() != b"utf-8":
            head = _DEFAULT_DECLARATION
        return head + etree.tostring(tree, encoding="UTF-8", xml_declaration=False)

    def tree(self, part: str) -> etree._Element:
        """A part parsed, for reading only; texts that were added to those that cells share are settled."""
        if self._added and part == self._strings_part:
            self.put(part, self.read(part))
        tree = self._edited.get(part)
        if tree is None:
            tree = self._shared.get(part)
        if tree is None:
            tree = self._shared[part] = self._parse(part)
        return tree.getroot()

    def read_once(self, part: str) -> etree._Element:
        """A part parsed for one reading: kept where it is kept already, or copies would parse it again."""
        if self._has_copies or part in self._edited or part in self._shared:
            return self.tree(part)
        return self._parse(part).getroot()

    def _parse(self, part: str) -> etree._ElementTree:
        if part not in self._bytes:
            raise self._error("is missing", part, "save the workbook again")
        try:
            tree = etree.ElementTree(etree.fromstring(self._bytes[part], _parser()))
        except etree.XMLSyntaxError as error:
            raise self._error(f"is not well-formed XML: {error}", part) from error
        except ValueError as error:
            raise self._error(f"cannot be parsed: {error}", part) from error
        if tree.docinfo.doctype or tree.docinfo.internalDTD is not None:
            raise self._error("declares a document type, which is refused", part)
        return tree

    def edit(self, part: str) -> etree._Element:
        """A part parsed, to be changed; it will be written anew."""
        self.tree(part)
        tree = self._edited.get(part)
        if tree is None:
            tree = copy.deepcopy(self._shared[part]) if self._has_copies else self._shared.pop(part)
            self._edited[part] = tree
            self._forget(tree.getroot().tag)
        return tree.getroot()

    def _forget(self, tag: str) -> None:
        """What was found in a part that may change now; the cells of a sheet say nothing of its workbook."""
        gone = _REMEMBERED.get(tag)
        if gone is None:
            self._apart, self._memo = None, {}
            return
        if self._apart is not None:
            self._apart |= frozenset(gone)
        self._memo = {key: found for key, found in self._memo.items() if _of(key) not in gone}

    def settle(self) -> None:
        """Take what was edited as it is now for copies to share, as if it had been opened so."""
        self._bytes |= {part: self.read(part) for part in self._edited}
        self._shared = {**self._shared, **self._edited}
        self._dirty |= self._edited.keys()
        self._edited = {}
        self._memo, self._common, self._apart = {}, {}, frozenset()

    def revert(self, part: str) -> None:
        """Forget the edits of a part."""
        if self._edited.pop(part, None) is not None:
            self._forget("")

    def put(self, part: str, data: bytes) -> None:
        """Replace or add the bytes of a part."""
        if part in self._bytes and part == self._strings_part:
            self._strings, self._added = None, {}
        was = self._edited.get(part, self._shared.get(part))
        self._bytes[part] = data
        self._lower[part.lower()] = part
        self._edited.pop(part, None)
        self._shared = {name: tree for name, tree in self._shared.items() if name != part}
        self._dirty.add(part)
        self._forget("" if was is None else was.getroot().tag)

    def remove(self, part: str) -> None:
        """Drop a part, its own relationships, its content type and every link to it."""
        if part not in self._bytes:
            return
        types = self.edit(self._types_part)
        for item in types.findall(f"{{{CONTENT_TYPES}}}Override"):
            if item.get("PartName", "").lstrip("/").lower() == part.lower():
                types.remove(item)
        for rels in [name for name in self._bytes if name.endswith(".rels")]:
            base = _rels_base(rels)
            for item in self.tree(rels):
                if _is_link_to(item, base, part):
                    root = self.edit(rels)
                    for twin in list(root):
                        if _is_link_to(twin, base, part):
                            root.remove(twin)
                    break
        for name in (part, _rels_part(part)):
            self._bytes.pop(name, None)
            self._edited.pop(name, None)
            self._lower.pop(name.lower(), None)
        self._shared = {name: tree for name, tree in self._shared.items() if name in self._bytes}
        self._forget("")

    def remember(self, key: Any, make: Callable[[], Any]) -> Any:
        """What `make` finds, found once until a part is changed; by copies together where they are alike."""
        memo = self._memo if self._apart is None or _of(key) in self._apart else self._common
        if key not in memo:
            memo[key] = make()
        return memo[key]

    def copy(self) -> Package:
        """An independent package that shares the bytes and what was parsed for reading."""
        twin = Package.__new__(Package)
        twin.name = self.name
        twin._bytes = dict(self._bytes)
        twin._shared = self._shared
        twin._has_copies = self._has_copies = True
        twin._edited = {part: copy.deepcopy(tree) for part, tree in self._edited.items()}
        twin._dirty = set(self._dirty)
        twin._lower = dict(self._lower)
        twin._memo = {}
        is_common = self._apart == frozenset() and not self._edited
        twin._common = self._common if is_common else {}
        twin._apart = frozenset()
        twin._strings = None if self._strings is None else list(self._strings)
        twin._strings_part = self._strings_part
        twin._added = dict(self._added)
        return twin

    # saving

    def _all_written(self) -> Iterator[tuple[str, bytes]]:
        """Each part and its bytes; those of texts that cells share after a look at who shares them."""
        sheets: dict[str, bytes] = {}
        if self._added:
            sheets = {sheet.part: self._written(sheet.part) for sheet in self.worksheets}
            count = sum(
                (shared.references if self._is_own(part, data) else shared.references_once)(data)
                for part, data in sheets.items()
            )
        for part in self._bytes:
            if self._added and part == self._strings_part:
                yield part, self._with_added(count)
            else:
                yield part, sheets.pop(part, b"") or self._written(part)

    def _is_own(self, part: str, data: bytes) -> bool:
        """Whether what is found in the bytes of a part is not worth keeping for the next file."""
        return part in self._edited or len(data) > _LARGE

    def to_bytes(self) -> bytes:
        """The workbook file; the same parts give the same bytes."""
        stream = io.BytesIO()
        added = self._strings_part if self._added else ""
        with zipfile.ZipFile(stream, "w") as archive:
            for part, data in self._all_written():
                is_own = part == added or self._is_own(part, data)
                check, packed = (_deflated if is_own else _deflated_once)(data)
                info = zipfile.ZipInfo(part, _EPOCH)
                info.create_system = 0
                info.external_attr = 0o600 << 16  # as a zip file has it of a plain file
                info.compress_type = zipfile.ZIP_DEFLATED
                info.CRC, info.compress_size, info.file_size = check, len(packed), len(data)
                info.header_offset = stream.tell()
                stream.write(info.FileHeader(zip64=False))
                stream.write(packed)
                archive.filelist.append(info)
                archive.start_dir = stream.tell()
        return stream.getvalue()

    def save(
        self, path: str | os.PathLike[str], forbid: Iterable[str | os.PathLike[str]] = (), new: bool = False
    ) -> Path:
        """Write the workbook in one step; never over one of the `forbid` inputs, with `new` over none."""
        suffix = Path(path).suffix.lower()
        if suffix in _TYPE_OF_SUFFIX and suffix != self.suffix:
            raise FileError(
                Problem(
                    os.fspath(path),
                    message=f"the workbook is of the kind {self.suffix}, the name says {suffix}",
                    fix=f"give it a name that ends in {self.suffix}",
                )
            )
        return atomic_write(path, self.to_bytes(), forbid=forbid, new=new)

    # content types and relationships

    @property
    def _types_part(self) -> str:
        return self.find("[Content_Types].xml") or "[Content_Types].xml"

    def content_type(self, part: str) -> str:
        """The declared content type of a part, or an empty text."""
        root = self.tree(self._types_part)
        for item in root.iterchildren(f"{{{CONTENT_TYPES}}}Override"):
            if item.get("PartName", "").lstrip("/").lower() == part.lower():
                return item.get("ContentType", "")
        ending = part.rpartition(".")[2].lower()
        for item in root.iterchildren(f"{{{CONTENT_TYPES}}}Default"):
            if item.get("Extension", "").lower() == ending:
                return item.get("ContentType", "")
        return ""

    @property
    def suffix(self) -> str:
        """`.xlsx`, `.xlsm`, `.xltx` or `.xltm`, after the content type."""
        return _MAIN_TYPES.get(self.content_type(self.workbook_part), ".xlsx")

    def as_workbook(self) -> None:
        """Turn an .xltx or .xltm template into a workbook by its content type."""
        suffix = {".xltx": ".xlsx", ".xltm": ".xlsm"}.get(self.suffix)
        if suffix is None:
            return
        part = self.workbook_part.lower()
        for item in self.edit(self._types_part).findall(f"{{{CONTENT_TYPES}}}Override"):
            if item.get("PartName", "").lstrip("/").lower() == part:
                item.set("ContentType", _TYPE_OF_SUFFIX[suffix])

    def relationships(self, part: str) -> dict[str, Relationship]:
        """The links of a part by their id; the empty name is the package itself."""
        return self.remember(("rels", part), lambda: self._read_relationships(part))

    def _read_relationships(self, part: str) -> dict[str, Relationship]:
        rels = self.find(_rels_part(part))
        if rels is None:
            return {}
        links = {}
        for item in self.tree(rels).iterchildren(f"{{{PACKAGE_RELATIONS}}}Relationship"):
            external = item.get("TargetMode") == "External"
            target = item.get("Target", "")
            if not external:
                target = _resolve(part, target)
                target = self.find(target) or target
            kind = item.get("Type", "").rpartition("/")[2]
            links[item.get("Id", "")] = Relationship(item.get("Id", ""), kind, target, external)
        return links

    def declare(self, part: str, kind: str) -> None:
        """Say of what type a new part is."""
        types = self.edit(self._types_part)
        etree.SubElement(types, f"{{{CONTENT_TYPES}}}Override", PartName=f"/{part}", ContentType=kind)

    def link(self, owner: str, kind: str, target: str, stem: str = "rId") -> str:
        """Let a part ("" for the package) refer to another; the link's name, `stem` and a free number."""
        rels = _rels_part(owner)
        if rels not in self:
            empty = f'<Relationships xmlns="{PACKAGE_RELATIONS}"/>'
            self.put(rels, shared.DECLARED + empty.encode())
        links = self.edit(self.find(rels) or rels)
        used = {item.get("Id") for item in links}
        name = next(text for n in range(1, len(used) + 2) if (text := f"{stem}{n}") not in used)
        etree.SubElement(links, f"{{{PACKAGE_RELATIONS}}}Relationship", Id=name, Type=kind, Target=target)
        return name

    def related(self, part: str, kind: str) -> list[str]:
        """The parts in the file that `part` links to with a relationship of this kind."""
        return [
            link.target
            for link in self.relationships(part).values()
            if link.type == kind and not link.external and link.target in self._bytes
        ]

    # the workbook

    @property
    def workbook_part(self) -> str:
        """The name of the workbook part."""
        found = self.related("", "officeDocument")
        if not found:
            raise FileError(Problem(self.name, message="is a zip file but not a workbook"))
        return found[0]

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        """The sheets in the order of the tabs."""
        return self.remember("sheets", lambda: tuple(self._read_sheets()))

    def _read_sheets(self) -> Iterator[Sheet]:
        links = self.relationships(self.workbook_part)
        listed = self.tree(self.workbook_part).find(f"{{{MAIN}}}sheets")
        for index, item in enumerate(() if listed is None else listed):
            link = links.get(item.get(f"{{{RELATIONS}}}id", ""))
            if link is None or link.external or link.target not in self._bytes:
                name = item.get("name", "")
                raise self._error(f"has no part for sheet {name}", self.workbook_part)
            yield Sheet(item.get("name", ""), link.target, index, item.get("state", "visible"), link.type)

    def sheet(self, name: str) -> Sheet | None:
        """The sheet of this name, capitals ignored, or None."""
        for sheet in self.sheets:
            if sheet.name.lower() == name.lower():
                return sheet
        return None

    @property
    def worksheets(self) -> tuple[Sheet, ...]:
        """The sheets that have cells."""
        return tuple(sheet for sheet in self.sheets if sheet.kind == "worksheet")

    @property
    def date1904(self) -> bool:
        """Whether dates count from 1904."""
        setting = self.tree(self.workbook_part).find(f"{{{MAIN}}}workbookPr")
        return setting is not None and setting.get("date1904") in ("1", "true")

    @property
    def defined_names(self) -> tuple[DefinedName, ...]:
        """The defined names of the workbook and of its sheets."""
        return self.remember("names", lambda: tuple(self._read_names()))

    def _read_names(self) -> Iterator[DefinedName]:
        listed = self.tree(self.workbook_part).find(f"{{{MAIN}}}definedNames")
        for item in () if listed is None else listed.iterchildren(f"{{{MAIN}}}definedName"):
            scope = None
            local = item.get("localSheetId")
            if local is not None and local.isdigit() and int(local) < len(self.sheets):
                scope = self.sheets[int(local)].name
            yield DefinedName(item.get("name", ""), scope, item.text or "")

    @property
    def tables(self) -> tuple[Table, ...]:
        """All Excel tables of the workbook."""
        return self.remember(
            "tables",
            lambda: tuple(
                self._read_table(sheet, part)
                for sheet in self.worksheets
                for part in self.related(sheet.part, "table")
            ),
        )

    def _read_table(self, sheet: Sheet, part: str) -> Table:
        root = self.tree(part)
        try:
            top, left, bottom, right = split_range(root.get("ref", ""))
        except ValueError as error:
            raise self._error(f"has a bad range: {error}", part) from error
        columns = root.find(f"{{{MAIN}}}tableColumns")
        names = tuple(unescape(item.get("name", "")) for item in (() if columns is None else columns))
        if len(names) != right - left + 1:
            raise self._error("lists other columns than its range has", part)
        return Table(
            name=root.get("displayName") or root.get("name", ""),
            part=part,
            sheet=sheet,
            first_row=top,
            first_column=left,
            last_row=bottom,
            last_column=right,
            header_rows=int(root.get("headerRowCount", "1")),
            totals_rows=int(root.get("totalsRowCount", "0")),
            columns=names,
        )

    def table(self, name: str) -> Table | None:
        """The table of this name, capitals ignored, or None."""
        for table in self.tables:
            if table.name.lower() == name.lower():
                return table
        return None

    def drawings(self, sheet: Sheet) -> list[str]:
        """The drawing parts of a sheet."""
        return self.related(sheet.part, "drawing")

    def charts(self, sheet: Sheet) -> list[str]:
        """The chart parts of a sheet's drawings."""
        return [
            chart
            for drawing in self.drawings(sheet)
            for kind in ("chart", "chartEx")
            for chart in self.related(drawing, kind)
        ]

    @property
    def shared_strings(self) -> Sequence[str]:
        """The texts that cells of type `s` point at, without their formatting."""
        if self._strings is None:
            self._strings_part = next(iter(self.related(self.workbook_part, "sharedStrings")), "")
            self._strings = list(self._read_strings())
        return self._strings

    def share(self, text: str) -> int:
        """The place of a text among those that cells share, where it is added unless it was before.

        It is never one of those that the file came with, which may be formatted.
        """
        place = self._added.get(text)
        if place is None:
            place = len(self.shared_strings)
            if not self._strings_part:
                self._add_strings_part()
            self._added[text] = place
            cast(list[str], self._strings).append(text)
        return place

    def share_inline(self) -> None:
        """Have cells share their texts where the file has them in its sheets, as openpyxl writes it."""
        parts = dict(self._bytes)
        shared.share_inline(parts)
        for part in [name for name, data in parts.items() if data is not self._bytes.get(name)]:
            self.put(part, parts[part])

    @property
    def first_added(self) -> int:
        """The place of the first text that was added to those of the file."""
        return len(self.shared_strings) - len(self._added)

    def _add_strings_part(self) -> None:
        self.link(self.workbook_part, shared.RELATION, f"/{shared.PART}")
        self.declare(shared.PART, shared.TYPE)
        self.put(shared.PART, shared.EMPTY)
        self._strings_part = shared.PART

    def _with_added(self, count: int) -> bytes:
        """The part of the texts that cells share with those added; so many cells do."""
        return shared.with_texts(self._written(self._strings_part), self._added, count)

    def _read_strings(self) -> Iterator[str]:
        part = self._strings_part
        for item in self.tree(part).iterchildren(f"{{{MAIN}}}si") if part else ():
            yield item_text(item)

    def cell_values(self, sheet: Sheet | str) -> dict[str, str | float | bool | None]:
        """The stored value of every cell of a sheet that has one, by address.

        A number is a float, an error its text, a formula gives the value stored with it.
        """
        if isinstance(sheet, str):
            found = self.sheet(sheet)
            if found is None:
                raise FileError(Problem(self.name, message=f"has no sheet {sheet}"))
            sheet = found
        values: dict[str, str | float | bool | None] = {}
        with sound_xml(self):
            for _, _, address, cell in iter_cells(self.tree(sheet.part)):
                value = cell_value(cell, self)
                if value is not None:
                    values[address] = value
        return values


def _rels_part(part: str) -> str:
    folder, name = posixpath.split(part)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def _rels_base(rels: str) -> str:
    """The part whose relationships `rels` holds."""
    folder, name = posixpath.split(rels)
    return posixpath.join(posixpath.dirname(folder), name.removesuffix(".rels"))


def _resolve(part: str, target: str) -> str:
    if target.startswith("/"):
        return posixpath.normpath(target).lstrip("/")
    return posixpath.normpath(posixpath.join(posixpath.dirname(part), target))


def _is_link_to(item: etree._Element, base: str, part: str) -> bool:
    if item.get("TargetMode") == "External":
        return False
    return _resolve(base, item.get("Target", "")).lower() == part.lower()


_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")


def unescape(text: str) -> str:
    """Undo the `_x000A_` spelling of characters in names and texts."""
    return _ESCAPE.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text


_T, _R, _IS, _F, _V = (f"{{{MAIN}}}{name}" for name in ("t", "r", "is", "f", "v"))
_DATA, _ROW, _C = (f"{{{MAIN}}}{name}" for name in ("sheetData", "row", "c"))


def item_text(item: etree._Element) -> str:
    """The text of a `si` or `is` element: plain, or its runs joined, phonetic help left out."""
    pieces = []
    for child in item:
        if child.tag == _T:
            pieces.append(child.text or "")
        elif child.tag == _R:
            pieces.extend(text.text or "" for text in child.iterchildren(_T))
    return unescape("".join(pieces))


def iter_cells(root: etree._Element) -> Iterator[tuple[int, int, str, etree._Element]]:
    """Row, column, address and element of each cell of a sheet, in the file's order.

    A row or cell that leaves its address out takes the next place, as the format allows.
    """
    data = root.find(_DATA)
    row_number = 0
    for row in () if data is None else data.iterchildren(_ROW):
        row_number = int(row.get("r") or row_number + 1)
        column = 0
        for cell in row.iterchildren(_C):
            address = cell.get("r")
            column = split_cell(address)[1] if address else column + 1
            yield row_number, column, address or f"{column_letters(column)}{row_number}", cell


def formula_of(cell: etree._Element) -> etree._Element | None:
    """The formula of a cell element, None where it has none; one that holds a value alone is not searched."""
    if not len(cell):
        return None
    first: etree._Element = cell[0]
    return first if first.tag == _F else None if len(cell) == 1 else cell.find(_F)


def cell_value(cell: etree._Element, package: Package) -> str | float | bool | None:
    """The value stored in a cell element; None where it is blank."""
    if not len(cell):
        return None
    kind = cell.get("t", "n")
    if kind == "inlineStr":
        held = cell.find(_IS)
        return None if held is None else item_text(held)
    held = cell[0] if cell[0].tag == _V else cell.find(_V)
    if held is None or held.text is None:
        return "" if kind == "str" and held is not None else None
    text = held.text
    if kind == "s":
        strings = package.shared_strings
        index = int(text)
        return strings[index] if 0 <= index < len(strings) else None
    if kind == "b":
        return text.strip() == "1"
    if kind == "n":
        return float(text)
    if kind == "str":
        return unescape(text)
    return text


@contextlib.contextmanager
def sound_xml(package: Package) -> Iterator[None]:
    """Turn what a number or address that is none does to the reader into a plain `FileError`."""
    try:
        yield
    except (ValueError, IndexError, KeyError) as error:
        raise FileError(
            Problem(
                package.name,
                message=f"holds something that is no workbook content: {error}",
                fix="open it in a spreadsheet and save it again",
            )
        ) from error


# ------------------------------------------------------------------------------------- compare


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs between two workbooks."""

    part: str
    what: str

    def __str__(self) -> str:
        return f"{self.part}: {self.what}"


def compare(before: Package, after: Package) -> list[Difference]:
    """What differs between two workbooks, part by part.

    Parts whose bytes are equal, or whose XML says the same, do not appear. Of a sheet each changed
    cell is listed; of another XML part each changed element; of any other part that it changed.
    """
    differences = []
    for part in dict.fromkeys((*before.parts, *after.parts)):
        if part not in after:
            differences.append(Difference(part, "removed"))
        elif part not in before:
            differences.append(Difference(part, "added"))
        else:
            differences.extend(Difference(part, what) for what in _part_differences(before, after, part))
    if [part for part in before.parts if part in after] != [part for part in after.parts if part in before]:
        differences.append(Difference("", "the parts are in another order"))
    return differences


def _part_differences(before: Package, after: Package, part: str) -> Iterator[str]:
    if before.read(part) == after.read(part):
        return
    if not _is_xml(part):
        yield "changed"
        return
    old, new = before.tree(part), after.tree(part)
    if etree.tostring(old, method="c14n") == etree.tostring(new, method="c14n"):
        return
    if old.tag == new.tag == f"{{{MAIN}}}worksheet":
        yield from _cell_differences(before, after, part)
        yield from _row_differences(old, new)
    yield from _element_differences(old, new, _short(new))


def _described(package: Package, part: str) -> dict[str, tuple[Any, str | None, str]]:
    cells = {}
    for _, _, address, cell in iter_cells(package.tree(part)):
        formula = cell.find(f"{{{MAIN}}}f")
        text = None if formula is None else f"={formula.text or ''}"
        if formula is not None and formula.attrib:
            text = f"{text} {dict(formula.attrib)}"
        cells[address] = (cell_value(cell, package), text, cell.get("s", "0"))
    return cells


def _cell_differences(before: Package, after: Package, part: str) -> Iterator[str]:
    blank = (None, None, "0")
    old, new = _described(before, part), _described(after, part)
    for address in sorted({*old, *new}, key=split_cell):
        was, now = old.get(address, blank), new.get(address, blank)
        for label, one, other in zip(("value", "formula", "style"), was, now, strict=True):
            if one != other:
                yield f"{address} {label} {one!r} -> {other!r}"


def _row_differences(old: etree._Element, new: etree._Element) -> Iterator[str]:
    def rows(root: etree._Element) -> dict[str, dict[str, str]]:
        data = root.find(f"{{{MAIN}}}sheetData")
        return {
            row.get("r", str(number)): {
                key: value for key, value in row.attrib.items() if key not in ("r", "spans")
            }
            for number, row in enumerate(() if data is None else data, 1)
        }

    was, now = rows(old), rows(new)
    for number in sorted({*was, *now}, key=int):
        one, other = was.get(number, {}), now.get(number, {})
        if one != other:
            yield f"row {number} {one} -> {other}"


def _short(item: etree._Element) -> str:
    return etree.QName(item).localname if isinstance(item.tag, str) else "comment"


def _element_differences(old: etree._Element, new: etree._Element, path: str) -> Iterator[str]:
    """Changed attributes, texts and children, below `path`; cells are told elsewhere."""
    if path == "worksheet/sheetData":
        return
    for key in dict.fromkeys((*old.attrib, *new.attrib)):
        if old.get(key) != new.get(key):
            yield f"{path} @{key} {old.get(key)!r} -> {new.get(key)!r}"
    if (old.text or "").strip() != (new.text or "").strip():
        yield f"{path} text {old.text!r} -> {new.text!r}"
    if [child.tag for child in old] == [child.tag for child in new]:
        for number, (one, other) in enumerate(zip(old, new, strict=True), 1):
            name = _short(other)
            label = f"{path}/{name}" if len(old) == 1 or name == "sheetData" else None
            yield from _element_differences(one, other, label or f"{path}/{name}[{number}]")
        return
    was = [etree.tostring(child, method="c14n", with_tail=False) for child in old]
    now = [etree.tostring(child, method="c14n", with_tail=False) for child in new]
    for child, text in zip(old, was, strict=True):
        if text not in now:
            yield f"{path}/{_short(child)} gone or changed: {text[:120].decode(errors='replace')}"
    for child, text in zip(new, now, strict=True):
        if text not in was:
            yield f"{path}/{_short(child)} new or changed: {text[:120].decode(errors='replace')}"
