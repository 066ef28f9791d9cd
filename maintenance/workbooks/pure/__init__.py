"""PURE. What a shop's own spreadsheet says: which list each sheet is, what each column holds, and what was assumed.

May import: units and the handbook. Knows no file format and no database.
"""
