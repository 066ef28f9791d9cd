"""Labels: sheets of codes that open a die's, a spare's or a job's page on a phone.

May import: the register, access, the frame, orders.
"""
