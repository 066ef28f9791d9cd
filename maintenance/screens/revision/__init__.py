"""A change of drawing: another spare takes the place of one, and what becomes of the old pieces.

May import: the log and all below.
"""
