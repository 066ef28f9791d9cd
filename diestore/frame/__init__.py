"""What every page stands in: lists that sort and page, fields for what people type, the shared templates.

May import: units, typed, the handbook. Knows no table of the register.
"""
