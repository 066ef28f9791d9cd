"""Finding: one field for dies, places, spares, jobs, sheets, orders, customers and words, and the keys of the pages.

May import: the register, access, the frame, the handbook. Apps above put their own finders in when they are ready.
"""
