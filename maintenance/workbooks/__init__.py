"""The shop's own spreadsheets: read, understood, looked through, brought in; and the shop as one; templates.

May import: the history folder, whose loader is the only way in, the tables of the register and of the log. `pure` knows
neither files nor tables.
"""
