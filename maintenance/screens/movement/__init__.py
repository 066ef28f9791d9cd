"""A spare moves by hand: drawn, returned, out to be repaired and back, scrapped, to another plant, to another place.

May import the log and all below.
"""
