"""What people see: charts, findings in words, the page and the sheet.

Takes: results of the rooms before.
Gives: figures, one self-contained page, a sheet to fill in.
"""
