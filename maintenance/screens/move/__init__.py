"""A die is moved to another plant.

May import: the log and all below.
"""
