"""Bills of suppliers: the list, one bill, a new one, its paper, and one struck out.

May import the log and all below. The cost pages, which lead here, stand above it and know its addresses.
"""
