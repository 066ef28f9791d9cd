"""The pages on what happens to the dies: one page, one room, with its view, form, table, drawing and template.

Screens do not know each other; what two of them show is made in a room below.
"""
