"""The record for purchasing: the last years again, the advice of then against a fixed minimum.

May import: spares, sources, purchasing, and the rooms of maintenance that are for reading.
"""
