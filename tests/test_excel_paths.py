"""What is in the way of the Excel add-in on a Windows machine, case by case, with its mend.

The machines are invented; what harms is known from Microsoft's pages on cmd.exe, MAX_PATH and code pages, and
from xlwings' own VBA, which starts Python by `cmd.exe /K ""path" …` and loads a DLL by Excel's bits.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from dispense.addin.excel_paths import Machine, _own_settings, examine, this_machine

GOOD = Machine(
    interpreter=r"C:\Program Files\Python312\python.exe",
    startup=r"C:\Users\Ann Müller\AppData\Roaming\Microsoft\Excel\XLSTART",
    pythons=(r"C:\Program Files\Python312\python.exe",),
    clouds=(r"C:\Users\Ann Müller\OneDrive",),
    excel_bits=64,
    dlls=("xlwings32-0.37.8.dll", "xlwings64-0.37.8.dll"),
)


def test_blanks_and_letters_of_the_code_page_do_no_harm():
    assert examine(GOOD) == []
    assert examine(replace(GOOD, python_bits=32)) == []  # Python runs apart from Excel
    assert examine(replace(GOOD, excel_bits=None, dlls=())) == []  # not found out: nothing is claimed


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"interpreter": r"C:\Users\a\OneDrive\python.exe", "clouds": (r"c:\users\a\onedrive",)}, "OneDrive"),
        ({"startup": "https://works.sharepoint.com/XLSTART"}, "folder of this computer"),
        ({"interpreter": "C:\\Users\\Łukasz\\python.exe"}, '"Ł"'),
        ({"interpreter": r"C:\R&D\python.exe"}, "Blanks do no harm"),
        ({"interpreter": "C:\\" + "a" * 260 + r"\python.exe"}, "259 are the most"),
        ({"interpreter": r"C:\Users\a\AppData\Local\Microsoft\WindowsApps\python.exe"}, "python.org"),
        ({"own_settings": r"D:\other\python.exe"}, r"another Python, D:\other\python.exe"),
        ({"interpreter": "python", "pythons": (r"C:\a\python.exe", r"C:\b\python.exe")}, "2 are on the PATH"),
        ({"excel_bits": 32, "dlls": ("xlwings64-0.37.8.dll",)}, "Excel has 32 bits"),
        ({"has_pywin32": False}, "pip install pywin32"),
    ],
)
def test_each_hindrance_is_named_with_its_mend(changes, words):
    (found,) = examine(replace(GOOD, **changes))
    assert words in found
    assert any(mend in found for mend in ("install", "folder", "most"))


def test_a_letter_is_held_against_the_code_page_of_the_machine():
    polish = replace(GOOD, interpreter="C:\\Łukasz\\python.exe", startup="C:\\a", code_page="cp1250")
    assert examine(polish) == []


def test_the_settings_file_of_xlwings_is_read(tmp_path):
    """Lines as xlwings' own VBA writes them (SaveConfigToFile): "NAME","value"."""
    file = tmp_path / "xlwings.conf"
    assert _own_settings(file) == ""
    file.write_text('"PYTHONPATH","x"\n"INTERPRETER_WIN","C:\\Python\\python.exe"\n')
    assert _own_settings(file) == "C:\\Python\\python.exe"


def test_this_machine_is_looked_at():
    found = this_machine(None)
    assert found.interpreter and found.python_bits in (32, 64) and found.pythons
