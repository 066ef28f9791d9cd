"""Who is there and what they may do: sign-in, roles, tablets and PINs, held tries.

May import: the frame, and the register's tables.
"""
