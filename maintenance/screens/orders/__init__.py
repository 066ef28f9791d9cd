"""Orders of spares to suppliers: drafted from the buyer's list, placed, confirmed, chased, taken in.

May import the log and all below. The lists of spares, from which one orders, stand above it and know its addresses.
"""
