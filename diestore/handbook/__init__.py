"""PURE. What the trade knows: kinds of pieces, tool steels, materials, forces, springs, cautions, words; each with
its source.

May import nothing but `diestore.units`.
"""
