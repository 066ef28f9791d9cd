"""Tools that are outlined for a customer: ways of building one, weighed against each other, and the offer that shows it.

May import: costing, and the rooms of maintenance that are for reading; what is typed is written by `log.outlines`.
"""
