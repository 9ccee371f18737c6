"""Workbooks: openpyxl and the XML inside an .xlsx file, known here and to the makers in `addin`."""
