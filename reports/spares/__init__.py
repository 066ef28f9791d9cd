"""Which spares to order, how many and by when, and why.

May import: purchasing, and the rooms of maintenance that are for reading.
"""
