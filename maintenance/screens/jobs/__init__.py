"""Jobs: what the customers ordered, entered, changed, split and closed.

May import: the tables of the log, and the cards of the register, as which they are shown.
"""
