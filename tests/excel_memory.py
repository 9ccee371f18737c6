"""xlwings' own Windows engine over pyOpenVBA's Excel in memory: what pywin32 does between them stands here.

Real are xlwings (`_xlwindows`, ranges, conversion, tables, names) and the workbook (cells, used ranges,
tables, protection, shapes). Stand-ins are pywin32 (`xlwings_layer`), and what the Excel in memory lacks: look
of a shape, dialogs, window title, `Saved` of an edit. So this shows that the calls are right and what they do
to cells; it does not show that Excel does the same.
"""

from __future__ import annotations

import datetime
from pathlib import Path

import xlwings_layer as layer


class Excel:
    """A running Excel: `open` a file, `book` of xlwings; `answers` of its dialogs, `asked` what they said."""

    def __init__(self):  # noqa: C901  (each stand-in is a method of a line or two)
        from pyopenvba.apps.excel import ExcelApplication
        from pyopenvba.apps.excel._model import Application, Workbooks
        from pyopenvba.apps.excel._shapes import ShapeObject
        from pyopenvba.interpreter import VBAObject, member, method

        self.python, self.udfs, self._restore = layer.load()
        self.answers: list = []
        self.asked: list[str] = []
        self.said: list = []
        self.looks: dict[int, dict] = {}
        memory = self

        class Plain(VBAObject):
            """An object that holds whatever is put into it."""

            def __init__(self):
                self.held = {}

            def vba_member(self, name):
                return None

            def vba_get(self, name, args=(), named=None):
                return self.held.setdefault(name, Plain())

            def vba_set(self, name, value, args=(), named=None, *, by_ref=False):
                self.held[name] = value

        class _Shape(ShapeObject):
            def look(self):
                return memory.looks.setdefault(id(self.shape), {})

            @member
            def Fill(self):
                return self.look().setdefault("Fill", Plain())

            @member
            def Line(self):
                return self.look().setdefault("Line", Plain())

            @member
            def DrawingObject(self):
                return self.look().setdefault("DrawingObject", Plain())

            @member
            def AlternativeText(self):
                return self.look().get("text", "")

            @layer.setter_of("AlternativeText")
            def _set_text(self, value):
                self.look()["text"] = str(value)

            @layer.setter_of("Placement")
            def _set_placement(self, value):
                self.look()["placement"] = value

        class _Application(Application):
            @member
            def Hwnd(self):
                return 1

            @method
            def InputBox(self, Prompt, Title, Default, Type):
                memory.asked.append(str(Prompt))
                return memory.answers.pop(0)

            @method
            def GetOpenFilename(self, MultiSelect, Title):
                return memory.answers.pop(0)

            @layer.setter_of("StatusBar")
            def _set_status(self, value):
                memory.said.append(value)

        class _Workbooks(Workbooks):
            @method
            def Open(self, Filename, *_rest):
                return super().Open(Filename)

        self._members = ShapeObject, dict(ShapeObject._vba_members)
        ShapeObject._vba_members.update(_Shape._vba_members)
        ShapeObject.look = _Shape.look
        self.excel = ExcelApplication()
        self.excel.application.__class__ = _Application
        self.excel.application.workbooks_.__class__ = _Workbooks
        self._proxy = _proxies(self)

    def end(self):
        shapes, members = self._members
        shapes._vba_members.clear()
        shapes._vba_members.update(members)
        del shapes.look
        self._restore()

    def wrap(self, thing):
        return self._proxy(thing)

    def open(self, path):
        """The workbook of a file, as a program on Windows holds it."""
        return self.wrapped_book(self.excel.open_workbook(path))

    def wrapped_book(self, book):
        import xlwings
        from xlwings import _xlwindows as engine

        return xlwings.Book(impl=engine.Book(xl=engine.COMRetryObjectWrapper(self.wrap(book))))

    def books(self):
        return {str(book.vba_get("Name")): self.wrapped_book(book) for book in self.excel.workbooks()}

    def shapes(self, book):
        """Name, sheet, text and look of each shape of a workbook of xlwings."""
        found = {}
        for sheet in self.excel.application.workbooks_.vba_lookup(book.name, []).sheets_:
            for shape in sheet.shapes_:
                found[shape.name] = (sheet.name, self.looks.get(id(shape), {}))
        return found


def _proxies(memory):  # noqa: C901  (the rules of COM in one place)
    """What pywin32 makes of an object: members by name, values as COM has them."""
    import pywintypes
    from pyopenvba.exceptions import VBARuntimeError
    from pyopenvba.interpreter import VBAObject
    from win32com.client import CDispatch

    def asked(do, *arguments):
        """What COM makes of an error of Excel's."""
        try:
            return do(*arguments)
        except VBARuntimeError as error:
            fault = pywintypes.com_error(str(error))
            fault.hresult = -2147352567  # DISP_E_EXCEPTION
            raise fault from error

    class Member:
        """A property that takes arguments, or a method."""

        def __init__(self, thing, name):
            self.thing, self.name = thing, name

        def __call__(self, *arguments, **named):
            given = [_in(item) for item in arguments]
            keyed = {key: _in(item) for key, item in named.items()}
            return out(asked(self.thing.vba_get, self.name, given, keyed))

    class Proxy(CDispatch):
        def __init__(self, thing):
            self.__dict__["thing"] = thing

        def __getattr__(self, name):
            if name.startswith("__"):
                raise AttributeError(name)
            get = (
                name.startswith("Get") and self.thing.vba_member(name) is None
            )  # GetOffset, GetResize, GetAddress
            name = name[3:] if get and name != "GetOpenFilename" else name
            found = self.thing.vba_member(name)
            if found is None and type(self.thing).__name__ != "Plain":
                raise AttributeError(f"{type(self.thing).__name__}.{name}")
            if found is not None and (
                get or found.kind == "method" or name in ("Address", "Item") or "Cell1" in found.parameters
            ):
                if name == "Address":
                    return out(self.thing.vba_get(name)) if not get else Member(self.thing, name)
                return Member(self.thing, name)
            return out(asked(self.thing.vba_get, name))

        def __setattr__(self, name, value):
            asked(self.thing.vba_set, name, _in(value))

        def __call__(self, *arguments):
            return out(asked(self.thing.vba_get, "Item", [_in(item) for item in arguments]))

        def __iter__(self):
            return (out(item) for item in self.thing.vba_items())

        def __bool__(self):
            return True

    def out(value):
        if isinstance(value, VBAObject):
            return Proxy(value)
        return _value(value)

    def _in(value):
        inner = getattr(value, "_inner", value)
        if isinstance(inner, Proxy):
            return inner.thing
        if isinstance(value, datetime.datetime):
            from pyopenvba.interpreter import VBADate

            return VBADate(
                (value.replace(tzinfo=None) - datetime.datetime(1899, 12, 30)) / datetime.timedelta(1)
            )
        if isinstance(value, Path):
            return str(value)
        if isinstance(value, int) and not isinstance(value, bool):
            return value
        return layer._from_com(value)

    return Proxy


def _value(value):
    from pyopenvba.interpreter import EMPTY, NOTHING, VBAArray, VBADate

    if value is NOTHING or value is EMPTY:
        return None
    if isinstance(value, tuple):
        return value
    if isinstance(value, VBAArray):
        rows = layer._nested(value)
        if rows and isinstance(rows[0], list):
            return tuple(tuple(_value(cell) for cell in row) for row in rows)
        return tuple(_value(cell) for cell in rows)
    if isinstance(value, VBADate):
        return datetime.datetime(1899, 12, 30) + datetime.timedelta(value.serial)
    if type(value).__name__ == "VBAInt":
        return int(value)
    return layer._to_com(value)
