"""Workbooks: the only place that knows openpyxl and the XML inside an .xlsx file."""
