"""Plain cards: what the shop owns and buys, as lists, cards and their changes, from one description of each.

May import: the register, access, the frame, the handbook. Apps above describe cards of their own with it.
"""
