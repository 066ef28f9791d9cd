"""Tools that are outlined for a customer: ways of building one, weighed against each other, and the offer.

May import: costing, and the rooms of maintenance that are for reading; what is typed is written by `log.outlines`.
"""
