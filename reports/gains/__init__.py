"""The next euro: every change on every die, as "another build, changed now" of its cost page reckons it, ranked.

May import cost, offers, spares, models, format and the pure rooms.
"""
