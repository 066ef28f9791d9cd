"""What a customer sees of his tools: the condition report, the page of a customer, and the link that he opens.

May import: cost, spares, costing, and the rooms of maintenance that are for reading; it signs through `log/owners`.
"""
